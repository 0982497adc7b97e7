"""The tables of withdrawals, as SQLAlchemy knows them; what a row means is said in ``pipelines.depot.books.rows``."""

from __future__ import annotations

import sqlalchemy as sa

from pipelines.depot.books.tables import META, text

#: Withdrawals by command. runner, file: keyed hashes.
WITHDRAWALS = sa.Table(
    "withdrawals",
    META,
    text("tombstone", key=True),
    text("runner"),
    text("scope"),
    sa.UniqueConstraint("runner", "scope"),
)

WITHDRAWN_FILES = sa.Table(
    "withdrawn_files",
    META,
    sa.Column("tombstone", sa.ForeignKey("withdrawals.tombstone", ondelete="CASCADE"), primary_key=True),
    text("file", key=True),
    sa.Index(None, "file"),
)

#: The work that a withdrawal is: who asked for it, from when on bytes are removed, whether it is done. participants:
#: the id in every spelling, as JSON, empty once it is done.
WITHDRAWAL_JOBS = sa.Table(
    "withdrawal_jobs",
    META,
    sa.Column("tombstone", sa.ForeignKey("withdrawals.tombstone", ondelete="CASCADE"), primary_key=True),
    text("by"),
    text("account"),
    text("why"),
    text("asked_utc"),
    text("due_utc"),
    text("ended_utc", null=True),
    text("participants"),
    sa.Index(None, "ended_utc"),
)

#: Consent given anew after a withdrawal. from_day: study day of the new form; what was given before stays void.
RENEWALS = sa.Table(
    "renewals",
    META,
    sa.Column("tombstone", sa.ForeignKey("withdrawals.tombstone", ondelete="CASCADE"), primary_key=True),
    sa.Column("from_day", sa.Integer, nullable=False),
    text("form_version"),
)
