"""The first tables: rounds, sealed texts, votes, inbox, outbox, due rows, people, places of trials

Runs: before deploy
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001_first"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "counters",
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("value", sa.Float(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_counters")),
    )
    op.create_table(
        "due",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=True, nullable=False),
        sa.Column("kind", sa.String(length=30), nullable=False),
        sa.Column("subject", sa.String(length=128), nullable=False),
        sa.Column("occurrence", sa.String(length=200), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.String(length=8), nullable=False),
        sa.Column("owner", sa.String(length=64), nullable=True),
        sa.Column("lease_until", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_due")),
        sa.UniqueConstraint("kind", "subject", "occurrence", name=op.f("uq_due_kind_subject_occurrence")),
    )
    op.create_index(
        "ix_due_open",
        "due",
        ["at", "id"],
        unique=False,
        sqlite_where=sa.text("state <> 'done'"),
        postgresql_where=sa.text("state <> 'done'"),
    )
    op.create_table(
        "facts",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=True, nullable=False),
        sa.Column("round_id", sa.String(length=128), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("record", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_facts")),
    )
    op.create_index(op.f("ix_facts_round_id"), "facts", ["round_id"], unique=False)
    op.create_table(
        "inbox",
        sa.Column("key", sa.String(length=300), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_inbox")),
    )
    op.create_index(op.f("ix_inbox_at"), "inbox", ["at"], unique=False)
    op.create_table(
        "members",
        sa.Column("tenant", sa.String(length=128), nullable=False),
        sa.Column("id", sa.String(length=128), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("doc", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("tenant", "id", name=op.f("pk_members")),
    )
    op.create_table(
        "nudges",
        sa.Column("tenant", sa.String(length=128), nullable=False),
        sa.Column("member", sa.String(length=128), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("tenant", "member", "at", name=op.f("pk_nudges")),
    )
    op.create_table(
        "outbox",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=True, nullable=False),
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("conversation", sa.String(length=300), nullable=False),
        sa.Column("kind", sa.String(length=12), nullable=False),
        sa.Column("name", sa.String(length=300), nullable=False),
        sa.Column("round_id", sa.String(length=128), nullable=True),
        sa.Column("only_in", sa.String(length=20), nullable=True),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("tries", sa.Integer(), server_default="0", nullable=False),
        sa.Column("first_try", sa.BigInteger(), nullable=True),
        sa.Column("try_at", sa.BigInteger(), nullable=False),
        sa.Column("owner", sa.String(length=64), nullable=True),
        sa.Column("lease_until", sa.BigInteger(), nullable=True),
        sa.Column("why_parked", sa.String(length=200), nullable=True),
        sa.CheckConstraint("state IN ('todo', 'sending', 'unknown', 'parked')", name=op.f("ck_outbox_state_known")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outbox")),
        sa.UniqueConstraint("key", name=op.f("uq_outbox_key")),
    )
    op.create_index(
        "ix_outbox_open",
        "outbox",
        ["conversation", "id"],
        unique=False,
        sqlite_where=sa.text("state <> 'parked'"),
        postgresql_where=sa.text("state <> 'parked'"),
    )
    op.create_table(
        "posts",
        sa.Column("name", sa.String(length=300), nullable=False),
        sa.Column("tenant", sa.String(length=128), nullable=False),
        sa.Column("kind", sa.String(length=12), nullable=False),
        sa.Column("place", sa.String(length=128), nullable=False),
        sa.Column("thread", sa.String(length=128), nullable=True),
        sa.Column("message_id", sa.String(length=300), nullable=False),
        sa.Column("round_id", sa.String(length=128), nullable=True),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_posts")),
    )
    op.create_index(op.f("ix_posts_round_id"), "posts", ["round_id"], unique=False)
    op.create_index("ix_posts_where", "posts", ["tenant", "place", "message_id"], unique=False)
    op.create_table(
        "rounds",
        sa.Column("id", sa.String(length=128), nullable=False),
        sa.Column("tenant", sa.String(length=128), nullable=False),
        sa.Column("channel", sa.String(length=128), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("step", sa.String(length=20), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("doc", sa.Text(), nullable=False),
        sa.Column("created_at", sa.BigInteger(), nullable=False),
        sa.Column("changed_at", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rounds")),
    )
    op.create_index("ix_rounds_tenant_channel", "rounds", ["tenant", "channel"], unique=False)
    op.create_table(
        "trial_places",
        sa.Column("tenant", sa.String(length=128), nullable=False),
        sa.Column("team", sa.String(length=128), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("trial_id", sa.String(length=300), nullable=False),
        sa.Column("owner", sa.String(length=128), nullable=False),
        sa.Column("ends", sa.BigInteger(), nullable=False),
        sa.Column("review", sa.BigInteger(), nullable=False),
        sa.CheckConstraint("place IN (1, 2)", name=op.f("ck_trial_places_two_at_a_time")),
        sa.PrimaryKeyConstraint("tenant", "team", "place", name=op.f("pk_trial_places")),
        sa.UniqueConstraint("trial_id", name=op.f("uq_trial_places_trial_id")),
    )
    op.create_table(
        "sealed",
        sa.Column("round_id", sa.String(length=128), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("item", sa.String(length=128), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["round_id"], ["rounds.id"], name=op.f("fk_sealed_round_id_rounds"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("round_id", "kind", "item", name=op.f("pk_sealed")),
    )
    op.create_table(
        "seats",
        sa.Column("round_id", sa.String(length=128), nullable=False),
        sa.Column("member", sa.String(length=128), nullable=False),
        sa.Column("tenant", sa.String(length=128), nullable=False),
        sa.ForeignKeyConstraint(["round_id"], ["rounds.id"], name=op.f("fk_seats_round_id_rounds"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("round_id", "member", name=op.f("pk_seats")),
    )
    op.create_index("ix_seats_tenant_member", "seats", ["tenant", "member"], unique=False)
    op.create_table(
        "votes",
        sa.Column("round_id", sa.String(length=128), nullable=False),
        sa.Column("ballot", sa.String(length=20), nullable=False),
        sa.Column("voter", sa.String(length=64), nullable=False),
        sa.Column("slot", sa.Integer(), nullable=False),
        sa.Column("quota", sa.Integer(), nullable=False),
        sa.Column("counts", sa.Boolean(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.CheckConstraint("NOT counts OR slot < quota", name=op.f("ck_votes_quota_kept")),
        sa.CheckConstraint("slot >= 0", name=op.f("ck_votes_slot_from_zero")),
        sa.ForeignKeyConstraint(["round_id"], ["rounds.id"], name=op.f("fk_votes_round_id_rounds"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("round_id", "ballot", "voter", "slot", name=op.f("pk_votes")),
    )


def downgrade() -> None:
    op.drop_table("votes")
    op.drop_index("ix_seats_tenant_member", table_name="seats")
    op.drop_table("seats")
    op.drop_table("sealed")
    op.drop_table("trial_places")
    op.drop_index("ix_rounds_tenant_channel", table_name="rounds")
    op.drop_table("rounds")
    op.drop_index("ix_posts_where", table_name="posts")
    op.drop_index(op.f("ix_posts_round_id"), table_name="posts")
    op.drop_table("posts")
    op.drop_index(
        "ix_outbox_open",
        table_name="outbox",
        sqlite_where=sa.text("state <> 'parked'"),
        postgresql_where=sa.text("state <> 'parked'"),
    )
    op.drop_table("outbox")
    op.drop_table("nudges")
    op.drop_table("members")
    op.drop_index(op.f("ix_inbox_at"), table_name="inbox")
    op.drop_table("inbox")
    op.drop_index(op.f("ix_facts_round_id"), table_name="facts")
    op.drop_table("facts")
    op.drop_index(
        "ix_due_open",
        table_name="due",
        sqlite_where=sa.text("state <> 'done'"),
        postgresql_where=sa.text("state <> 'done'"),
    )
    op.drop_table("due")
    op.drop_table("counters")
