"""Ids of up to 255 signs, and names that are packed from three of them

Runs: before deploy
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003_long_ids"
down_revision = "0002_trials"
branch_labels = None
depends_on = None

IDS = {
    "rounds": ("id", "tenant", "channel"),
    "seats": ("round_id", "member", "tenant"),
    "sealed": ("round_id", "item"),
    "votes": ("round_id",),
    "facts": ("round_id",),
    "outbox": ("round_id",),
    "posts": ("tenant", "place", "thread", "round_id"),
    "members": ("tenant", "id"),
    "nudges": ("tenant", "member"),
    "trial_places": ("tenant", "team", "owner"),
    "trials": ("tenant", "team", "owner"),
    "register": ("tenant", "team", "lever"),
    "teams": ("tenant", "team"),
}
PACKED = {"inbox": ("key",), "outbox": ("conversation", "name"), "posts": ("name",), "due": ("subject", "occurrence")}


def upgrade() -> None:
    _widen(IDS, 255)
    _widen(PACKED, 2400)


def _widen(columns: dict[str, tuple[str, ...]], signs: int) -> None:
    """SQLite holds no text to a length."""
    if op.get_bind().dialect.name == "sqlite":
        return
    for table, names in columns.items():
        for name in names:
            op.alter_column(table, name, type_=sa.String(length=signs))


def downgrade() -> None:
    """What is longer by now would not fit: the columns stay wide."""
