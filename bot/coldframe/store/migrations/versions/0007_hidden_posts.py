"""Name and place of a message that tells of somebody's act, sealed; the start hides those that stand already

Runs: before deploy
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007_hidden_posts"
down_revision = "0006_lives"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("posts", sa.Column("body", sa.LargeBinary()))


def downgrade() -> None:
    op.drop_column("posts", "body")
