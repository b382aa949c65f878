"""When somebody was reminded, sealed; the start hides who it was, and what stands already

Runs: before deploy
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0009_hidden_nudges"
down_revision = "0008_spoken"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("nudges", sa.Column("body", sa.LargeBinary()))


def downgrade() -> None:
    op.drop_column("nudges", "body")
