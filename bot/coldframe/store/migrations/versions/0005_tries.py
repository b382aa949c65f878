"""How often due rows were tried, and what people have heard of that cannot be sent

Runs: before deploy
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005_tries"
down_revision = "0004_safeguards"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("due", sa.Column("tries", sa.Integer(), server_default="0", nullable=False))
    op.add_column("due", sa.Column("problem", sa.String(length=100), nullable=True))
    op.add_column("outbox", sa.Column("told_at", sa.BigInteger(), nullable=True))


def downgrade() -> None:
    op.drop_column("outbox", "told_at")
    op.drop_column("due", "problem")
    op.drop_column("due", "tries")
