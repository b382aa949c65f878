"""Trials after the commitment, the register with full text, what a team has set for itself

Runs: before deploy
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002_trials"
down_revision = "0001_first"
branch_labels = None
depends_on = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "trials",
        sa.Column("id", sa.String(length=300), nullable=False),
        sa.Column("tenant", sa.String(length=128), nullable=False),
        sa.Column("team", sa.String(length=128), nullable=False),
        sa.Column("step", sa.String(length=20), nullable=False),
        sa.Column("owner", sa.String(length=128), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("doc", sa.Text(), nullable=False),
        sa.Column("private", sa.LargeBinary(), nullable=False),
        sa.Column("created_at", sa.BigInteger(), nullable=False),
        sa.Column("changed_at", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trials")),
    )
    op.create_index("ix_trials_tenant_team", "trials", ["tenant", "team"], unique=False)
    op.create_index("ix_trials_tenant_owner", "trials", ["tenant", "owner"], unique=False)
    op.create_table(
        "trial_facts",
        sa.Column("id", BIG, autoincrement=True, nullable=False),
        sa.Column("trial_id", sa.String(length=300), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("record", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trial_facts")),
    )
    op.create_index(op.f("ix_trial_facts_trial_id"), "trial_facts", ["trial_id"], unique=False)
    op.create_table(
        "register",
        sa.Column("id", BIG, autoincrement=True, nullable=False),
        sa.Column("trial_id", sa.String(length=300), nullable=False),
        sa.Column("tenant", sa.String(length=128), nullable=False),
        sa.Column("team", sa.String(length=128), nullable=False),
        sa.Column("lever", sa.String(length=128), nullable=False),
        sa.Column("verdict", sa.String(length=20), nullable=False),
        sa.Column("owner", sa.String(length=200), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("folded", sa.Text(), nullable=False),
        sa.Column("doc", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_register")),
        sa.UniqueConstraint("trial_id", name=op.f("uq_register_trial_id")),
    )
    op.create_index("ix_register_tenant_team_at", "register", ["tenant", "team", "at"], unique=False)
    op.create_table(
        "teams",
        sa.Column("tenant", sa.String(length=128), nullable=False),
        sa.Column("team", sa.String(length=128), nullable=False),
        sa.Column("doc", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("tenant", "team", name=op.f("pk_teams")),
    )
    _full_text()


def _full_text() -> None:
    """Each database's own: an FTS5 table that follows the register, or an index on its words."""
    if op.get_bind().dialect.name == "postgresql":
        op.execute("CREATE INDEX ix_register_words ON register USING gin (to_tsvector('english', words))")
        return
    op.execute(
        "CREATE VIRTUAL TABLE register_words USING fts5("
        "words, content='register', content_rowid='id', tokenize='porter unicode61 remove_diacritics 2')"
    )
    op.execute(
        "CREATE TRIGGER register_words_new AFTER INSERT ON register BEGIN "
        "INSERT INTO register_words (rowid, words) VALUES (new.id, new.words); END"
    )
    op.execute(
        "CREATE TRIGGER register_words_gone AFTER DELETE ON register BEGIN "
        "INSERT INTO register_words (register_words, rowid, words) VALUES ('delete', old.id, old.words); END"
    )
    op.execute(
        "CREATE TRIGGER register_words_changed AFTER UPDATE ON register BEGIN "
        "INSERT INTO register_words (register_words, rowid, words) VALUES ('delete', old.id, old.words); "
        "INSERT INTO register_words (rowid, words) VALUES (new.id, new.words); END"
    )


def downgrade() -> None:
    if op.get_bind().dialect.name == "postgresql":
        op.execute("DROP INDEX ix_register_words")
    else:
        op.execute("DROP TABLE register_words")
    for table in ("teams", "register", "trial_facts", "trials"):
        op.drop_table(table)
