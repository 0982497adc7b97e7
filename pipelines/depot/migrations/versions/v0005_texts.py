"""The books also hold decisions on texts, which texts a delivery holds, and which files of it are not kept."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def _of_delivery() -> sa.Column[str]:
    return sa.Column("delivery_id", sa.Text(), nullable=False)


def _with_delivery(table: str, *key: str) -> tuple[sa.Constraint, ...]:
    return (
        sa.ForeignKeyConstraint(
            ["delivery_id"],
            ["deliveries.delivery_id"],
            name=op.f(f"fk_{table}_delivery_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("delivery_id", *key, name=op.f(f"pk_{table}")),
    )


def upgrade() -> None:
    """Make the three tables, and have every delivery weighed anew."""
    op.create_table(
        "left_out",
        _of_delivery(),
        sa.Column("path", sa.Text(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("bytes", sa.BigInteger(), nullable=False),
        *_with_delivery("left_out", "path"),
    )
    op.create_table(
        "texts",
        sa.Column("word", sa.Text(), nullable=False),
        sa.Column("allowed", sa.Boolean(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("utc", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("word", name=op.f("pk_texts")),
    )
    op.create_table(
        "delivery_texts",
        _of_delivery(),
        sa.Column("word", sa.Text(), nullable=False),
        sa.Column("decided", sa.Text(), nullable=False),
        *_with_delivery("delivery_texts", "word"),
    )
    op.create_index(op.f("ix_delivery_texts_word_decided"), "delivery_texts", ["word", "decided"])
    # nobody has looked at the texts of what is held: the next run judges it again, and keeps apart what must be
    op.execute("DELETE FROM delivery_stamps WHERE what = 'made'")
