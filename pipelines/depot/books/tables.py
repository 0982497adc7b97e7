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


def _text(name: str, *, null: bool = False, key: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text, primary_key=key, nullable=null)


def _of_delivery() -> sa.Column[str]:
    """The delivery a row belongs to, with which it goes."""
    return sa.Column("delivery_id", sa.ForeignKey("deliveries.delivery_id", ondelete="CASCADE"), primary_key=True)


#: One row. word: random, by which books and depot know that they belong together; key: secret, by which runners and
#: files that were withdrawn are known again.
DEPOT = sa.Table("depot", META, _text("word", key=True), _text("key"), _text("made_utc"))

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
    _text("overrides"),
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

#: Runners a delivery names. alike: the id without case and outer spaces; knew: digest of what was known of the runner's
#: consent when the delivery was judged.
GATE_RUNNERS = sa.Table(
    "gate_runners",
    META,
    _of_delivery(),
    _text("participant_id", key=True),
    _text("alike"),
    _text("knew"),
    sa.Index(None, "participant_id", "knew"),
    sa.Index(None, "alike"),
)

CONSENT_EVENTS = sa.Table(
    "consent_events",
    META,
    _of_delivery(),
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    _text("participant_id"),
    _text("alike"),
    _text("scope", null=True),
    _text("event"),
    sa.Column("day", sa.Integer),
    sa.Index(None, "alike"),
)

#: What is known today of the consent of each runner that a delivery names, as a digest; written with what it rests on.
RUNNERS_KNOWN = sa.Table("runners_known", META, _text("participant_id", key=True), _text("digest"))

#: Trials by the ids they came with. withheld_as: the name it goes by, if it is withheld; shut: why it was withheld
#: whatever its own delivery says.
GATE_TRIALS = sa.Table(
    "gate_trials",
    META,
    _of_delivery(),
    _text("trial_id", key=True),
    _text("participant_id", null=True),
    _text("withheld_as", null=True),
    _text("shut"),
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
    _text("trial_id", key=True),
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    _text("sha256"),
    _text("word"),
    sa.Index(None, "sha256"),
    sa.Index(None, "word"),
)

GATE_TABLES = sa.Table("gate_tables", META, _of_delivery(), _text("sha256", key=True), sa.Index(None, "sha256"))

#: Withdrawals by command. runner, file: keyed hashes.
WITHDRAWALS = sa.Table(
    "withdrawals",
    META,
    _text("tombstone", key=True),
    _text("runner"),
    _text("scope"),
    sa.UniqueConstraint("runner", "scope"),
)

WITHDRAWN_FILES = sa.Table(
    "withdrawn_files",
    META,
    sa.Column("tombstone", sa.ForeignKey("withdrawals.tombstone", ondelete="CASCADE"), primary_key=True),
    _text("file", key=True),
    sa.Index(None, "file"),
)

#: The work that a withdrawal is: who asked for it, from when on bytes are removed, whether it is done. participants:
#: the id in every spelling, as JSON, empty once it is done.
WITHDRAWAL_JOBS = sa.Table(
    "withdrawal_jobs",
    META,
    sa.Column("tombstone", sa.ForeignKey("withdrawals.tombstone", ondelete="CASCADE"), primary_key=True),
    _text("by"),
    _text("account"),
    _text("why"),
    _text("asked_utc"),
    _text("due_utc"),
    _text("ended_utc", null=True),
    _text("participants"),
    sa.Index(None, "ended_utc"),
)

#: Consent given anew after a withdrawal. from_day: study day of the new form; what was given before stays void.
RENEWALS = sa.Table(
    "renewals",
    META,
    sa.Column("tombstone", sa.ForeignKey("withdrawals.tombstone", ondelete="CASCADE"), primary_key=True),
    sa.Column("from_day", sa.Integer, nullable=False),
    _text("form_version"),
)

#: Decisions on single findings. back_: by whom, when and why it was taken back.
DECISIONS = sa.Table(
    "decisions",
    META,
    _text("word", key=True),
    sa.Column("number", sa.Integer, nullable=False),
    _text("site"),
    _text("trial_id"),
    _text("check_name"),
    _text("why"),
    _text("by"),
    _text("utc"),
    _text("back_why", null=True),
    _text("back_by", null=True),
    _text("back_utc", null=True),
    sa.Index(None, "trial_id"),
)

DECISION_FILES = sa.Table(
    "decision_files",
    META,
    sa.Column("word", sa.ForeignKey("decisions.word", ondelete="CASCADE"), primary_key=True),
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    _text("sha256"),
)

RELEASES = sa.Table(
    "releases",
    META,
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    _text("utc"),
    _text("actor"),
    _text("why"),
    _text("code_version"),
    _text("study_version"),
    sa.Column("trial_count", sa.Integer, nullable=False),
    _text("content_sha256"),
    _text("superseded_utc"),
    _text("superseded_why"),
    sa.Column("ledger_sequence", sa.BigInteger, nullable=False),
    _text("ledger_hash"),
)

LEDGER = sa.Table(
    "ledger",
    META,
    sa.Column("sequence", sa.BigInteger().with_variant(sa.Integer, "sqlite"), primary_key=True, autoincrement=False),
    _text("utc"),
    _text("actor"),
    _text("what"),
    _text("about"),
    _text("why"),
    _text("details"),
    _text("previous"),
    _text("hash"),
    sa.Index(None, "about"),
    sa.Index(None, "actor"),
    sa.Index(None, "utc"),
)

#: Checksums of what was published. place: a path below the depot; path: of a file below that.
PUBLISHED = sa.Table("published", META, _text("place", key=True), _text("path", key=True), _text("sha256"))

#: The last build of warehouse and pages: what it was made from, and how far the ledger reached then.
BUILT = sa.Table(
    "built",
    META,
    _text("what", key=True),
    _text("made_from"),
    sa.Column("sequence", sa.BigInteger, nullable=False),
    _text("hash"),
)

for _dialect, _statements in guards.BY_DIALECT.items():
    for _statement in _statements:
        _guard = sa.DDL(_statement.replace("%", "%%"))  # type: ignore[no-untyped-call]
        sa.event.listen(LEDGER, "after_create", _guard.execute_if(dialect=_dialect))
