"""Checksums of what was published; withdrawals as jobs; consent given anew."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0001"


def upgrade() -> None:
    """Make the new tables."""
    op.create_table(
        "published",
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("path", sa.Text(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("place", "path", name=op.f("pk_published")),
    )
    op.create_table(
        "withdrawal_jobs",
        sa.Column("tombstone", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("account", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("asked_utc", sa.Text(), nullable=False),
        sa.Column("due_utc", sa.Text(), nullable=False),
        sa.Column("ended_utc", sa.Text(), nullable=True),
        sa.Column("participants", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["tombstone"], ["withdrawals.tombstone"], name=op.f("fk_withdrawal_jobs_tombstone"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("tombstone", name=op.f("pk_withdrawal_jobs")),
    )
    op.create_index(op.f("ix_withdrawal_jobs_ended_utc"), "withdrawal_jobs", ["ended_utc"], unique=False)
    op.create_table(
        "renewals",
        sa.Column("tombstone", sa.Text(), nullable=False),
        sa.Column("from_day", sa.Integer(), nullable=False),
        sa.Column("form_version", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["tombstone"], ["withdrawals.tombstone"], name=op.f("fk_renewals_tombstone"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("tombstone", name=op.f("pk_renewals")),
    )


def downgrade() -> None:
    """Remove them."""
    for table in ("renewals", "withdrawal_jobs", "published"):
        op.drop_table(table)
