"""Rows of sessions and runners that deliveries tell stand in a table of their own; they were stamps before."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"

_STAMPS = sa.table("delivery_stamps", sa.column("delivery_id"), sa.column("what"), sa.column("used"))
_ROWS = ("delivery_id", "told_table", "row_id", "sent", "given", "taken")


def upgrade() -> None:
    """Make the table and move the stamps there."""
    told = op.create_table(
        "told_rows",
        sa.Column("delivery_id", sa.Text(), nullable=False),
        sa.Column("told_table", sa.Text(), nullable=False),
        sa.Column("row_id", sa.Text(), nullable=False),
        sa.Column("sent", sa.Text(), nullable=False),
        sa.Column("given", sa.Text(), nullable=False),
        sa.Column("taken", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["delivery_id"],
            ["deliveries.delivery_id"],
            name=op.f("fk_told_rows_delivery_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("delivery_id", "told_table", "row_id", name=op.f("pk_told_rows")),
    )
    op.create_index(op.f("ix_told_rows_row_id_told_table"), "told_rows", ["row_id", "told_table"], unique=False)
    rows: dict[tuple[str, str, str], dict[str, str]] = {}
    c = _STAMPS.c
    for delivery_id, what, used in op.get_bind().execute(sa.select(c.delivery_id, c.what, c.used).where(_are_rows())):
        how, table, row_id = what.split(".", 2)  # for example row_sent.sent_sessions.S1
        place = (delivery_id, table, row_id)
        rows.setdefault(place, dict(zip(_ROWS, (*place, "", "", ""), strict=True)))[how.removeprefix("row_")] = used
    op.bulk_insert(told, list(rows.values()))
    op.execute(sa.delete(_STAMPS).where(_are_rows()))


def _are_rows() -> sa.ColumnElement[bool]:
    return sa.or_(*(_STAMPS.c.what.startswith(f"row_{how}.", autoescape=True) for how in _ROWS[3:]))


def downgrade() -> None:
    """Remove it."""
    op.drop_table("told_rows")
