"""What can be chosen on a message by its number, and forms filled in by words, on platforms without buttons and forms

Runs: before deploy
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0008_spoken"
down_revision = "0007_hidden_posts"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("posts", sa.Column("choices", sa.LargeBinary()))
    op.add_column("posts", sa.Column("asked", sa.BigInteger()))
    op.create_table(
        "dialogues",
        sa.Column("id", sa.String(64), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_dialogues"),
    )


def downgrade() -> None:
    op.drop_table("dialogues")
    op.drop_column("posts", "asked")
    op.drop_column("posts", "choices")
