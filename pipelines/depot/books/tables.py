"""The tables of the books, as SQLAlchemy knows them; what a row means is said in ``pipelines.depot.books.rows``.

A change here needs a migration in ``pipelines/depot/migrations`` and a new ``FORM``.
"""

from __future__ import annotations

import sqlalchemy as sa

from pipelines.depot.books import guards

#: The newest form of the books that this code knows; each migration raises it by one.
FORM = 4

META = sa.MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def text(name: str, *, null: bool = False, key: bool = False) -> sa.Column[str]:
    """A column of text."""
    return sa.Column(name, sa.Text, primary_key=key, nullable=null)


def _of_delivery() -> sa.Column[str]:
    """The delivery a row belongs to, with which it goes."""
    return sa.Column("delivery_id", sa.ForeignKey("deliveries.delivery_id", ondelete="CASCADE"), primary_key=True)


#: One row. word: random, by which books and depot know that they belong together; key: secret, by which runners and
#: files that were withdrawn are known again.
DEPOT = sa.Table("depot", META, text("word", key=True), text("key"), text("made_utc"))

ARRIVALS = sa.Table(
    "arrivals",
    META,
    text("site", key=True),
    text("name", key=True),
    text("signature"),
    text("delivery_id"),
)

DELIVERIES = sa.Table(
    "deliveries",
    META,
    text("delivery_id", key=True),
    text("arrival"),
    text("status"),
    text("site", null=True),
    sa.Column("number", sa.BigInteger),
    text("fingerprint"),
    text("received_utc"),
    text("code_version"),
    text("study_version"),
    text("result"),
    sa.Column("held", sa.Boolean, nullable=False),
    text("overrides"),
    sa.Index(None, "arrival"),
    sa.Index(None, "site", "number"),
    sa.Index(None, "fingerprint"),
    sa.Index(None, "code_version", "study_version"),
    sa.Index(None, "overrides"),
    sa.UniqueConstraint("result"),
)

PAYLOAD = sa.Table(
    "payload",
    META,
    _of_delivery(),
    text("path", key=True),
    text("sha256"),
    sa.Column("closed", sa.Boolean, nullable=False),
    sa.Index(None, "sha256", "closed"),
)

WAITING = sa.Table(
    "waiting",
    META,
    _of_delivery(),
    text("session_id", key=True),
    text("condition", key=True),
    sa.Index(None, "session_id", "condition"),
)

TRIALS = sa.Table(
    "trials",
    META,
    _of_delivery(),
    text("trial_id", key=True),
    text("site"),
    text("standing"),
    text("kind", null=True),
    text("session_id", null=True),
    text("condition", null=True),
    text("raw_sha256", null=True),
    text("second_sha256", null=True),
    sa.Column("gives_posture", sa.Boolean, nullable=False),
    text("parts"),
    text("resend"),
    text("before_delivery"),
    text("before_parts"),
    sa.Index(None, "trial_id"),
    sa.Index(None, "session_id", "condition"),
    sa.Index(None, "raw_sha256"),
    sa.Index(None, "before_delivery"),
)

DELIVERY_STAMPS = sa.Table(
    "delivery_stamps",
    META,
    _of_delivery(),
    text("what", key=True),
    text("used"),
    sa.Index(None, "what", "used"),
)

TRIAL_STAMPS = sa.Table(
    "trial_stamps",
    META,
    _of_delivery(),
    text("trial_id", key=True),
    text("what", key=True),
    text("used"),
    sa.Index(None, "what", "used"),
)

#: What a value of a stamp stands for, place by place as JSON, so that the reason told is the true one.
STAMP_CONTENTS = sa.Table("stamp_contents", META, text("used", key=True), text("content"))

#: Runners a delivery names. alike: the id without case and outer spaces; knew: digest of what was known of the runner's
#: consent when the delivery was judged.
GATE_RUNNERS = sa.Table(
    "gate_runners",
    META,
    _of_delivery(),
    text("participant_id", key=True),
    text("alike"),
    text("knew"),
    sa.Index(None, "participant_id", "knew"),
    sa.Index(None, "alike"),
)

CONSENT_EVENTS = sa.Table(
    "consent_events",
    META,
    _of_delivery(),
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    text("participant_id"),
    text("alike"),
    text("scope", null=True),
    text("event"),
    sa.Column("day", sa.Integer),
    sa.Index(None, "alike"),
)

#: What is known today of the consent of each runner that a delivery names, as a digest; written with what it rests on.
RUNNERS_KNOWN = sa.Table("runners_known", META, text("participant_id", key=True), text("digest"))

#: Trials by the ids they came with. withheld_as: the name it goes by, if it is withheld; shut: why it was withheld
#: whatever its own delivery says.
GATE_TRIALS = sa.Table(
    "gate_trials",
    META,
    _of_delivery(),
    text("trial_id", key=True),
    text("participant_id", null=True),
    text("withheld_as", null=True),
    text("shut"),
    sa.Index(None, "trial_id"),
    sa.Index(None, "participant_id"),
    sa.Index(None, "withheld_as"),
    sa.Index(None, "shut"),
)

#: word: the checksum as a keyed hash, by which files that were taken out are known again.
GATE_FILES = sa.Table(
    "gate_files",
    META,
    _of_delivery(),
    text("trial_id", key=True),
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    text("sha256"),
    text("word"),
    sa.Index(None, "sha256"),
    sa.Index(None, "word"),
)

GATE_TABLES = sa.Table("gate_tables", META, _of_delivery(), text("sha256", key=True), sa.Index(None, "sha256"))

#: Decisions on single findings. back_: by whom, when and why it was taken back.
DECISIONS = sa.Table(
    "decisions",
    META,
    text("word", key=True),
    sa.Column("number", sa.Integer, nullable=False),
    text("site"),
    text("trial_id"),
    text("check_name"),
    text("why"),
    text("by"),
    text("utc"),
    text("back_why", null=True),
    text("back_by", null=True),
    text("back_utc", null=True),
    sa.Index(None, "trial_id"),
)

DECISION_FILES = sa.Table(
    "decision_files",
    META,
    sa.Column("word", sa.ForeignKey("decisions.word", ondelete="CASCADE"), primary_key=True),
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    text("sha256"),
)

RELEASES = sa.Table(
    "releases",
    META,
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    text("utc"),
    text("actor"),
    text("why"),
    text("code_version"),
    text("study_version"),
    sa.Column("trial_count", sa.Integer, nullable=False),
    text("content_sha256"),
    text("superseded_utc"),
    text("superseded_why"),
    sa.Column("ledger_sequence", sa.BigInteger, nullable=False),
    text("ledger_hash"),
)

LEDGER = sa.Table(
    "ledger",
    META,
    sa.Column("sequence", sa.BigInteger().with_variant(sa.Integer, "sqlite"), primary_key=True, autoincrement=False),
    text("utc"),
    text("actor"),
    text("what"),
    text("about"),
    text("why"),
    text("details"),
    text("previous"),
    text("hash"),
    sa.Index(None, "about"),
    sa.Index(None, "actor"),
    sa.Index(None, "utc"),
)

#: Checksums of what was published. place: a path below the depot; path: of a file below that.
PUBLISHED = sa.Table("published", META, text("place", key=True), text("path", key=True), text("sha256"))

#: The last build of warehouse and pages: what it was made from, and how far the ledger reached then.
BUILT = sa.Table(
    "built",
    META,
    text("what", key=True),
    text("made_from"),
    sa.Column("sequence", sa.BigInteger, nullable=False),
    text("hash"),
)

for _dialect, _statements in guards.BY_DIALECT.items():
    for _statement in _statements:
        _guard = sa.DDL(_statement.replace("%", "%%"))  # type: ignore[no-untyped-call]
        sa.event.listen(LEDGER, "after_create", _guard.execute_if(dialect=_dialect))
