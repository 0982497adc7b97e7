"""The books know with what each delivery was packed; results are judged again, which fills it in."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"


def upgrade() -> None:
    """Make the table, and have every delivery judged again."""
    op.create_table(
        "packed_with",
        sa.Column("delivery_id", sa.Text(), nullable=False),
        sa.Column("field", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["delivery_id"],
            ["deliveries.delivery_id"],
            name=op.f("fk_packed_with_delivery_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("delivery_id", "field", name=op.f("pk_packed_with")),
    )
    op.execute("DELETE FROM delivery_stamps WHERE what = 'made'")


def downgrade() -> None:
    """Remove it."""
    op.drop_table("packed_with")
