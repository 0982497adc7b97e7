"""The tables of withdrawals, as SQLAlchemy knows them; what a row means is said in ``pipelines.depot.books.rows``."""

from __future__ import annotations

import sqlalchemy as sa

from pipelines.depot.books.tables import META, text_column

#: Withdrawals by command. runner, file: keyed hashes.
WITHDRAWALS = sa.Table(
    "withdrawals",
    META,
    text_column("tombstone", key=True),
    text_column("runner"),
    text_column("scope"),
    sa.UniqueConstraint("runner", "scope"),
)

WITHDRAWN_FILES = sa.Table(
    "withdrawn_files",
    META,
    sa.Column("tombstone", sa.ForeignKey("withdrawals.tombstone", ondelete="CASCADE"), primary_key=True),
    text_column("file", key=True),
    sa.Index(None, "file"),
)

#: The work that a withdrawal is: who asked for it, from when on bytes are removed, whether it is done. participants:
#: the id in every spelling, as JSON, empty once it is done.
WITHDRAWAL_JOBS = sa.Table(
    "withdrawal_jobs",
    META,
    sa.Column("tombstone", sa.ForeignKey("withdrawals.tombstone", ondelete="CASCADE"), primary_key=True),
    text_column("by"),
    text_column("account"),
    text_column("why"),
    text_column("asked_utc"),
    text_column("due_utc"),
    text_column("ended_utc", null=True),
    text_column("participants"),
    sa.Index(None, "ended_utc"),
)

#: Consent given anew after a withdrawal. from_day: study day of the new form; what was given before stays void.
RENEWALS = sa.Table(
    "renewals",
    META,
    sa.Column("tombstone", sa.ForeignKey("withdrawals.tombstone", ondelete="CASCADE"), primary_key=True),
    sa.Column("from_day", sa.Integer, nullable=False),
    text_column("form_version"),
)
