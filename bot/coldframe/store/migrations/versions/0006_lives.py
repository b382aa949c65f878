"""Whether a message's life is not over yet; of those that stand already it is found out by their names

Runs: before deploy
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0006_lives"
down_revision = "0005_tries"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("posts", sa.Column("open", sa.Boolean(), server_default=sa.true(), nullable=False))


def downgrade() -> None:
    op.drop_column("posts", "open")
