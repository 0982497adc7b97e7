"""The tables of the books, as SQLAlchemy knows them; what a row means is said in ``pipelines.depot.books.rows``.

A change here needs a migration in ``pipelines/depot/migrations`` and a new ``FORM``.
"""

from __future__ import annotations

import sqlalchemy as sa

from pipelines.depot.books import guards

#: The newest form of the books that this code knows; each migration raises it by one.
FORM = 11

META = sa.MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def text_column(name: str, *, null: bool = False, key: bool = False) -> sa.Column[str]:
    """A column of text."""
    return sa.Column(name, sa.Text, primary_key=key, nullable=null)


def of_delivery() -> sa.Column[str]:
    """The delivery a row belongs to, with which it goes."""
    return sa.Column("delivery_id", sa.ForeignKey("deliveries.delivery_id", ondelete="CASCADE"), primary_key=True)


#: One row. word: random, by which books and depot know that they belong together; key: secret, by which runners and
#: files that were withdrawn are known again; study: by what the study is known that the first writer had.
DEPOT = sa.Table(
    "depot",
    META,
    text_column("word", key=True),
    text_column("key"),
    text_column("made_utc"),
    text_column("study", null=True),
)

ARRIVALS = sa.Table(
    "arrivals",
    META,
    text_column("site", key=True),
    text_column("name", key=True),
    text_column("signature"),
    text_column("delivery_id"),
)

DELIVERIES = sa.Table(
    "deliveries",
    META,
    text_column("delivery_id", key=True),
    text_column("arrival"),
    text_column("status"),
    text_column("site", null=True),
    sa.Column("number", sa.BigInteger),
    text_column("fingerprint"),
    text_column("received_utc"),
    text_column("code_version"),
    text_column("study_version"),
    text_column("result"),
    sa.Column("held", sa.Boolean, nullable=False),
    text_column("overrides"),
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
    of_delivery(),
    text_column("path", key=True),
    text_column("sha256"),
    sa.Column("closed", sa.Boolean, nullable=False),
    sa.Index(None, "sha256", "closed"),
)

WAITING = sa.Table(
    "waiting",
    META,
    of_delivery(),
    text_column("session_id", key=True),
    text_column("condition", key=True),
    sa.Index(None, "session_id", "condition"),
)

TRIALS = sa.Table(
    "trials",
    META,
    of_delivery(),
    text_column("trial_id", key=True),
    text_column("site"),
    text_column("standing"),
    text_column("kind", null=True),
    text_column("session_id", null=True),
    text_column("condition", null=True),
    text_column("raw_sha256", null=True),
    text_column("second_sha256", null=True),
    sa.Column("gives_posture", sa.Boolean, nullable=False),
    text_column("parts"),
    text_column("resend"),
    text_column("before_delivery"),
    text_column("before_parts"),
    sa.Index(None, "trial_id"),
    sa.Index(None, "session_id", "condition"),
    sa.Index(None, "raw_sha256"),
    sa.Index(None, "before_delivery"),
)

#: In which cells the shapes of accepted trials lie, so that copies of a recording are found without looking at all.
SHAPE_CELLS = sa.Table(
    "shape_cells",
    META,
    of_delivery(),
    text_column("trial_id", key=True),
    text_column("cell", key=True),
    sa.Index(None, "cell"),
)

DELIVERY_STAMPS = sa.Table(
    "delivery_stamps",
    META,
    of_delivery(),
    text_column("what", key=True),
    text_column("used"),
    sa.Index(None, "what", "used"),
)

TRIAL_STAMPS = sa.Table(
    "trial_stamps",
    META,
    of_delivery(),
    text_column("trial_id", key=True),
    text_column("what", key=True),
    text_column("used"),
    sa.Index(None, "what", "used"),
)

#: What a value of a stamp stands for, place by place as JSON, so that the reason told is the true one.
STAMP_CONTENTS = sa.Table("stamp_contents", META, text_column("used", key=True), text_column("content"))

#: Runners a delivery names. alike: the id without case and outer spaces; knew: digest of what was known of the runner's
#: consent when the delivery was judged.
GATE_RUNNERS = sa.Table(
    "gate_runners",
    META,
    of_delivery(),
    text_column("participant_id", key=True),
    text_column("alike"),
    text_column("knew"),
    sa.Index(None, "participant_id", "knew"),
    sa.Index(None, "alike"),
)

CONSENT_EVENTS = sa.Table(
    "consent_events",
    META,
    of_delivery(),
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    text_column("participant_id"),
    text_column("alike"),
    text_column("scope", null=True),
    text_column("event"),
    sa.Column("day", sa.Integer),
    sa.Index(None, "alike"),
)

#: What is known today of the consent of each runner that a delivery names, as a digest; written with what it rests on.
RUNNERS_KNOWN = sa.Table("runners_known", META, text_column("participant_id", key=True), text_column("digest"))

#: Trials by the ids they came with. withheld_as: the name it goes by, if it is withheld; shut: why it was withheld
#: whatever its own delivery says.
GATE_TRIALS = sa.Table(
    "gate_trials",
    META,
    of_delivery(),
    text_column("trial_id", key=True),
    text_column("participant_id", null=True),
    text_column("withheld_as", null=True),
    text_column("shut"),
    sa.Index(None, "trial_id"),
    sa.Index(None, "participant_id"),
    sa.Index(None, "withheld_as"),
    sa.Index(None, "shut"),
)

#: word: the checksum as a keyed hash, by which files that were taken out are known again.
GATE_FILES = sa.Table(
    "gate_files",
    META,
    of_delivery(),
    text_column("trial_id", key=True),
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    text_column("sha256"),
    text_column("word"),
    sa.Index(None, "sha256"),
    sa.Index(None, "word"),
)

GATE_TABLES = sa.Table("gate_tables", META, of_delivery(), text_column("sha256", key=True), sa.Index(None, "sha256"))

#: Decisions on single findings. back_: by whom, when and why it was taken back.
DECISIONS = sa.Table(
    "decisions",
    META,
    text_column("word", key=True),
    sa.Column("number", sa.Integer, nullable=False),
    text_column("site"),
    text_column("trial_id"),
    text_column("check_name"),
    text_column("why"),
    text_column("by"),
    text_column("utc"),
    text_column("back_why", null=True),
    text_column("back_by", null=True),
    text_column("back_utc", null=True),
    sa.Index(None, "trial_id"),
)

DECISION_FILES = sa.Table(
    "decision_files",
    META,
    sa.Column("word", sa.ForeignKey("decisions.word", ondelete="CASCADE"), primary_key=True),
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    text_column("sha256"),
)

RELEASES = sa.Table(
    "releases",
    META,
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    text_column("utc"),
    text_column("actor"),
    text_column("why"),
    text_column("code_version"),
    text_column("study_version"),
    sa.Column("trial_count", sa.Integer, nullable=False),
    text_column("content_sha256"),
    text_column("superseded_utc"),
    text_column("superseded_why"),
    sa.Column("ledger_sequence", sa.BigInteger, nullable=False),
    text_column("ledger_hash"),
)

LEDGER = sa.Table(
    "ledger",
    META,
    sa.Column("sequence", sa.BigInteger().with_variant(sa.Integer, "sqlite"), primary_key=True, autoincrement=False),
    text_column("utc"),
    text_column("actor"),
    text_column("what"),
    text_column("about"),
    text_column("why"),
    text_column("details"),
    text_column("previous"),
    text_column("hash"),
    sa.Index(None, "about"),
    sa.Index(None, "actor"),
    sa.Index(None, "utc"),
)

#: Checksums of what was published. place: a path below the depot; path: of a file below that.
PUBLISHED = sa.Table(
    "published", META, text_column("place", key=True), text_column("path", key=True), text_column("sha256")
)

#: The last build of warehouse and pages: what it was made from, and how far the ledger reached then.
BUILT = sa.Table(
    "built",
    META,
    text_column("what", key=True),
    text_column("made_from"),
    sa.Column("sequence", sa.BigInteger, nullable=False),
    text_column("hash"),
)

for _dialect, _statements in guards.BY_DIALECT.items():
    for _statement in _statements:
        _guard = sa.DDL(_statement.replace("%", "%%"))  # type: ignore[no-untyped-call]
        sa.event.listen(LEDGER, "after_create", _guard.execute_if(dialect=_dialect))
