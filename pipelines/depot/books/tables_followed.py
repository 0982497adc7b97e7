"""The table of the books about cautions that somebody looked at or followed up; beside ``tables``, of the same form."""

from __future__ import annotations

import sqlalchemy as sa

from pipelines.depot.books.tables import META, text_column

#: ``pipelines.depot.books.rows.Followed``. word: the caution as it was seen then, runner: whose it is; both as keyed
#: hashes, so that the books tell of nobody's health.
CAUTIONS_FOLLOWED = sa.Table(
    "cautions_followed",
    META,
    text_column("word", key=True),
    text_column("runner"),
    text_column("looked_by"),
    text_column("looked_utc"),
    text_column("followed_by", null=True),
    text_column("followed_utc", null=True),
    sa.Index(None, "runner"),
)
