"""What tells whether the secret is the one that the database was made with

Runs: before deploy
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004_safeguards"
down_revision = "0003_long_ids"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "safeguards",
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_safeguards")),
    )


def downgrade() -> None:
    op.drop_table("safeguards")
