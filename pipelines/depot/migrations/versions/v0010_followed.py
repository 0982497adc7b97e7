"""Who looked at which caution of a change-over, and who followed it up."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"


def upgrade() -> None:
    """Make the table, empty: nobody noted it before."""
    op.create_table(
        "cautions_followed",
        sa.Column("word", sa.Text(), nullable=False),
        sa.Column("runner", sa.Text(), nullable=False),
        sa.Column("looked_by", sa.Text(), nullable=False),
        sa.Column("looked_utc", sa.Text(), nullable=False),
        sa.Column("followed_by", sa.Text(), nullable=True),
        sa.Column("followed_utc", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("word", name=op.f("pk_cautions_followed")),
    )
    op.create_index(op.f("ix_cautions_followed_runner"), "cautions_followed", ["runner"], unique=False)


def downgrade() -> None:
    """Remove it."""
    op.drop_table("cautions_followed")
