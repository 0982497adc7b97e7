"""The books keep the notes on how a delivery was packed; of deliveries from before there are none."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "packing_notes",
        sa.Column("delivery_id", sa.Text(), nullable=False),
        sa.Column("place", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("seen", sa.Text(), nullable=False),
        sa.Column("expected", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["delivery_id"],
            ["deliveries.delivery_id"],
            name=op.f("fk_packing_notes_delivery_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("delivery_id", "place", name=op.f("pk_packing_notes")),
    )


def downgrade() -> None:
    """Remove it."""
    op.drop_table("packing_notes")
