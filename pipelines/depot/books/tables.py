"""The tables of the books, as SQLAlchemy knows them; what a row means is said in ``pipelines.depot.books.rows``.

A change here needs a migration in ``pipelines/depot/migrations`` and a new ``FORM``.
"""

from __future__ import annotations

import sqlalchemy as sa

#: The newest form of the books that this code knows; each migration raises it by one.
FORM = 1

META = sa.MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _text(name: str, *, null: bool = False, key: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text, primary_key=key, nullable=null)


def _of_delivery() -> sa.Column[str]:
    """The delivery a row belongs to, with which it goes."""
    return sa.Column("delivery_id", sa.ForeignKey("deliveries.delivery_id", ondelete="CASCADE"), primary_key=True)


#: One row: the random word by which books and depot know that they belong together.
DEPOT = sa.Table("depot", META, _text("word", key=True), _text("made_utc"))

ARRIVALS = sa.Table(
    "arrivals",
    META,
    _text("site", key=True),
    _text("name", key=True),
    _text("signature"),
    _text("delivery_id"),
)

DELIVERIES = sa.Table(
    "deliveries",
    META,
    _text("delivery_id", key=True),
    _text("arrival"),
    _text("status"),
    _text("site", null=True),
    sa.Column("number", sa.BigInteger),
    _text("fingerprint"),
    _text("received_utc"),
    _text("code_version"),
    _text("study_version"),
    _text("result"),
    sa.Column("held", sa.Boolean, nullable=False),
    _text("consents"),
    _text("overrides"),
    sa.Index(None, "arrival"),
    sa.Index(None, "site", "number"),
    sa.Index(None, "fingerprint"),
    sa.Index(None, "code_version", "study_version"),
    sa.UniqueConstraint("result"),
)

PAYLOAD = sa.Table(
    "payload",
    META,
    _of_delivery(),
    _text("path", key=True),
    _text("sha256"),
    sa.Column("closed", sa.Boolean, nullable=False),
    sa.Index(None, "sha256", "closed"),
)

WAITING = sa.Table(
    "waiting",
    META,
    _of_delivery(),
    _text("session_id", key=True),
    _text("condition", key=True),
    sa.Index(None, "session_id", "condition"),
)

TRIALS = sa.Table(
    "trials",
    META,
    _of_delivery(),
    _text("trial_id", key=True),
    _text("site"),
    _text("standing"),
    _text("kind", null=True),
    _text("session_id", null=True),
    _text("condition", null=True),
    _text("raw_sha256", null=True),
    _text("second_sha256", null=True),
    sa.Column("gives_posture", sa.Boolean, nullable=False),
    _text("parts"),
    _text("resend"),
    _text("before_delivery"),
    _text("before_parts"),
    sa.Index(None, "trial_id"),
    sa.Index(None, "session_id", "condition"),
    sa.Index(None, "raw_sha256"),
    sa.Index(None, "before_delivery"),
)

DELIVERY_STAMPS = sa.Table(
    "delivery_stamps",
    META,
    _of_delivery(),
    _text("what", key=True),
    _text("used"),
    sa.Index(None, "what", "used"),
)

TRIAL_STAMPS = sa.Table(
    "trial_stamps",
    META,
    _of_delivery(),
    _text("trial_id", key=True),
    _text("what", key=True),
    _text("used"),
    sa.Index(None, "what", "used"),
)

#: What a value of a stamp stands for, place by place as JSON, so that the reason told is the true one.
STAMP_CONTENTS = sa.Table("stamp_contents", META, _text("used", key=True), _text("content"))
