"""The books know in which cells the shapes of accepted trials lie; results are judged again, which fills them in."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "shape_cells",
        sa.Column("delivery_id", sa.Text(), nullable=False),
        sa.Column("trial_id", sa.Text(), nullable=False),
        sa.Column("cell", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["delivery_id"],
            ["deliveries.delivery_id"],
            name=op.f("fk_shape_cells_delivery_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("delivery_id", "trial_id", "cell", name=op.f("pk_shape_cells")),
    )
    op.create_index(op.f("ix_shape_cells_cell"), "shape_cells", ["cell"], unique=False)


def downgrade() -> None:
    """Remove it."""
    op.drop_table("shape_cells")
