"""All tables, with the constraints that are the last line of defence. Instants are UTC milliseconds (integers)."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Dialect,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
    text,
    true,
)

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class Instant(TypeDecorator[datetime]):
    """An aware datetime, kept as UTC milliseconds since 1970: both databases agree, nothing loses its zone.

    Parts of a millisecond are rounded up: what is due must not come up before its moment, and find nothing to do.
    """

    impl = BigInteger
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> int | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a moment without a zone cannot be stored")
        return -((_EPOCH - value) // timedelta(milliseconds=1))

    def process_result_value(self, value: int | None, dialect: Dialect) -> datetime | None:
        return None if value is None else _EPOCH + timedelta(milliseconds=value)


metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)
BESIDE = frozenset({"alembic_version"})
"""Tables of ours that are declared elsewhere."""
ID = String(255)
# Names of messages, subjects and the like: up to three ids packed into one, of whose signs each may take three.
PACKED = String(2400)

rounds = Table(
    "rounds",
    metadata,
    Column("id", ID, primary_key=True),
    Column("tenant", ID, nullable=False),
    Column("channel", ID, nullable=False),
    Column("name", String(80), nullable=False),
    Column("step", String(20), nullable=False),
    Column("version", Integer, nullable=False),
    Column("doc", Text, nullable=False),
    Column("created_at", Instant, nullable=False),
    Column("changed_at", Instant, nullable=False),
    Index("ix_rounds_tenant_channel", "tenant", "channel"),
)

seats = Table(
    "seats",
    metadata,
    Column("round_id", ID, ForeignKey("rounds.id", ondelete="CASCADE"), nullable=False),
    Column("member", ID, nullable=False),
    Column("tenant", ID, nullable=False),
    PrimaryKeyConstraint("round_id", "member"),
    Index("ix_seats_tenant_member", "tenant", "member"),
)

# What people gave in confidence: notes until the reveal, plans, comparisons, choices. Always encrypted.
sealed = Table(
    "sealed",
    metadata,
    Column("round_id", ID, ForeignKey("rounds.id", ondelete="CASCADE"), nullable=False),
    Column("kind", String(20), nullable=False),
    Column("item", ID, nullable=False),
    Column("body", LargeBinary, nullable=False),
    PrimaryKeyConstraint("round_id", "kind", "item"),
)

# One row a mark. The voter is a keyed hash, the option is encrypted; a mark beyond the quota cannot count.
votes = Table(
    "votes",
    metadata,
    Column("round_id", ID, ForeignKey("rounds.id", ondelete="CASCADE"), nullable=False),
    Column("ballot", String(20), nullable=False),
    Column("voter", String(64), nullable=False),
    Column("slot", Integer, nullable=False),
    Column("quota", Integer, nullable=False),
    Column("counts", Boolean, nullable=False),
    Column("body", LargeBinary, nullable=False),
    PrimaryKeyConstraint("round_id", "ballot", "voter", "slot"),
    CheckConstraint("slot >= 0", name="slot_from_zero"),
    CheckConstraint("NOT counts OR slot < quota", name="quota_kept"),
)

facts = Table(
    "facts",
    metadata,
    Column("id", BigInteger().with_variant(Integer, "sqlite"), primary_key=True, autoincrement=True),
    Column("round_id", ID, nullable=False, index=True),
    Column("at", Instant, nullable=False),
    Column("record", Text, nullable=False),
)

inbox = Table(
    "inbox",
    metadata,
    Column("key", PACKED, primary_key=True),
    Column("at", Instant, nullable=False, index=True),
)

outbox = Table(
    "outbox",
    metadata,
    Column("id", BigInteger().with_variant(Integer, "sqlite"), primary_key=True, autoincrement=True),
    Column("key", String(64), nullable=False, unique=True),
    Column("conversation", PACKED, nullable=False),
    Column("kind", String(12), nullable=False),
    Column("name", PACKED, nullable=False),
    Column("round_id", ID),
    Column("only_in", String(20)),
    Column("body", LargeBinary, nullable=False),
    Column("state", String(12), nullable=False),
    Column("tries", Integer, nullable=False, server_default="0"),
    Column("first_try", Instant),
    Column("try_at", Instant, nullable=False),
    Column("owner", String(64)),
    Column("lease_until", Instant),
    Column("why_parked", String(200)),  # or what the last try came to
    Column("told_at", Instant),  # since when somebody knows that it cannot be sent
    CheckConstraint("state IN ('todo', 'sending', 'unknown', 'parked')", name="state_known"),
    Index(
        "ix_outbox_open",
        "conversation",
        "id",
        sqlite_where=text("state <> 'parked'"),
        postgresql_where=text("state <> 'parked'"),
    ),
)

posts = Table(
    "posts",
    metadata,
    Column("name", PACKED, primary_key=True),
    Column("tenant", ID, nullable=False),
    Column("kind", String(12), nullable=False),
    Column("place", ID, nullable=False),
    Column("thread", ID),
    Column("message_id", String(300), nullable=False),
    Column("round_id", ID, index=True),
    Column("open", Boolean, nullable=False, server_default=true()),
    Column("body", LargeBinary),  # name and place, sealed, where the columns hold hashes of them
    Column("choices", LargeBinary),  # what can be chosen by number, where a platform has no buttons; sealed
    Column("asked", BigInteger),  # counts up, so that the newest question of a conversation is known
    Index("ix_posts_where", "tenant", "place", "message_id"),
)

# A form that somebody fills in by words, where a platform has none: one each, under a hash, always encrypted.
dialogues = Table(
    "dialogues",
    metadata,
    Column("id", String(64), primary_key=True),
    Column("at", Instant, nullable=False),
    Column("body", LargeBinary, nullable=False),
)

due = Table(
    "due",
    metadata,
    Column("id", BigInteger().with_variant(Integer, "sqlite"), primary_key=True, autoincrement=True),
    Column("kind", String(30), nullable=False),
    Column("subject", PACKED, nullable=False),
    Column("occurrence", PACKED, nullable=False),
    Column("at", Instant, nullable=False),
    Column("state", String(8), nullable=False),
    Column("owner", String(64)),
    Column("lease_until", Instant),
    Column("tries", Integer, nullable=False, server_default="0"),
    Column("problem", String(100)),
    UniqueConstraint("kind", "subject", "occurrence"),
    Index("ix_due_open", "at", "id", sqlite_where=text("state <> 'done'"), postgresql_where=text("state <> 'done'")),
)

members = Table(
    "members",
    metadata,
    Column("tenant", ID, nullable=False),
    Column("id", ID, nullable=False),
    Column("name", String(200), nullable=False),
    Column("doc", Text, nullable=False),
    PrimaryKeyConstraint("tenant", "id"),
)

# When somebody was reminded, a row a day: whom and when would tell who had given nothing by then, and so who had.
nudges = Table(
    "nudges",
    metadata,
    Column("tenant", ID, nullable=False),
    Column("member", ID, nullable=False),  # a keyed hash
    Column("at", Instant, nullable=False),  # the day
    Column("body", LargeBinary),  # the moments, sealed
    PrimaryKeyConstraint("tenant", "member", "at"),
)

counters = Table(
    "counters",
    metadata,
    Column("name", String(80), primary_key=True),
    Column("value", Float, nullable=False),
)

# The two places of a team: the primary key is the rule "two at a time".
trial_places = Table(
    "trial_places",
    metadata,
    Column("tenant", ID, nullable=False),
    Column("team", ID, nullable=False),
    Column("place", Integer, nullable=False),
    Column("trial_id", String(300), nullable=False, unique=True),
    Column("owner", ID, nullable=False),
    Column("ends", Instant, nullable=False),
    Column("review", Instant, nullable=False),
    PrimaryKeyConstraint("tenant", "team", "place"),
    CheckConstraint("place IN (1, 2)", name="two_at_a_time"),
)

# A trial outlives its round, so no foreign key binds it to one. `doc` is what the channel may know; `private` holds
# chances, fears and learnings by person until they are shown, encrypted.
trials = Table(
    "trials",
    metadata,
    Column("id", String(300), primary_key=True),
    Column("tenant", ID, nullable=False),
    Column("team", ID, nullable=False),
    Column("step", String(20), nullable=False),
    Column("owner", ID),
    Column("version", Integer, nullable=False),
    Column("doc", Text, nullable=False),
    Column("private", LargeBinary, nullable=False),
    Column("created_at", Instant, nullable=False),
    Column("changed_at", Instant, nullable=False),
    Index("ix_trials_tenant_team", "tenant", "team"),
    Index("ix_trials_tenant_owner", "tenant", "owner"),
)

trial_facts = Table(
    "trial_facts",
    metadata,
    Column("id", BigInteger().with_variant(Integer, "sqlite"), primary_key=True, autoincrement=True),
    Column("trial_id", String(300), nullable=False, index=True),
    Column("at", Instant, nullable=False),
    Column("record", Text, nullable=False),
)

# What was tried, over all rounds. `words` is all text to be searched; `folded` the same without case and accents, for
# parts of words. The full-text index is the database's own kind (store/register.py).
register = Table(
    "register",
    metadata,
    Column("id", BigInteger().with_variant(Integer, "sqlite"), primary_key=True, autoincrement=True),
    Column("trial_id", String(300), nullable=False, unique=True),
    Column("tenant", ID, nullable=False),
    Column("team", ID, nullable=False),
    Column("lever", ID, nullable=False),
    Column("verdict", String(20), nullable=False),
    Column("owner", String(200), nullable=False),
    Column("at", Instant, nullable=False),
    Column("words", Text, nullable=False),
    Column("folded", Text, nullable=False),
    Column("doc", Text, nullable=False),
    Index("ix_register_tenant_team_at", "tenant", "team", "at"),
)

# What a team has set for itself: who leads, when the digest comes, its funnel numbers.
teams = Table(
    "teams",
    metadata,
    Column("tenant", ID, nullable=False),
    Column("team", ID, nullable=False),
    Column("doc", Text, nullable=False),
    PrimaryKeyConstraint("tenant", "team"),
)

# What tells whether the secret is the one that the database was made with.
safeguards = Table(
    "safeguards",
    metadata,
    Column("name", String(80), primary_key=True),
    Column("body", LargeBinary, nullable=False),
    Column("at", Instant, nullable=False),
)
