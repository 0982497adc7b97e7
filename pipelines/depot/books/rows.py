"""The rows of the books as plain values, so that whoever reads or writes them needs no database at hand.

How they are stored is in ``pipelines.depot.books.tables``; what they mean together in the modules beside it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field

from schemas.received import ConsentEvent, PayloadFile, Problem

#: The stamp of a delivery that stands for all its others.
MADE = "made"
#: Stamps of a trial: what it gives to trials of other deliveries, and what only another delivery could give it.
GIVES_POSTURE, GIVES_REFERENCES = "gives", "gives_references"
BORROWED_POSTURE, BORROWED_REFERENCES = "borrowed_posture", "borrowed_references"
#: Stamp of a running trial that leans on the standing trial of another session than its own: that session.
POSTURE_OF_SESSION = "posture_of_session"
#: Stamp of a trial that is another's recording: ``delivery/trial`` of that one, if another delivery brought it.
COPY_OF = "copy_of"
#: Stamp of a delivery that was stopped and is not held: its bytes as it came.
CAME_AS = "came_as"
#: Stamp of a delivery that was stopped: whether its consents.csv could not be read, and the words for that.
CONSENTS_UNREAD, YES, NO = "consents_unread", "yes", "no"
#: Stamp of a delivery: what deliveries before it brought under the same ids or with the same files, if anything.
BESIDE = "beside"
#: Statuses of a delivery.
TAKEN_IN, STOPPED, REPEAT = "taken_in", "stopped", "repeat"
#: What was decided on a text; of an open one nothing yet.
ALLOWED, REFUSED, OPEN = "allowed", "refused", ""
#: (session, condition)
Occasion = tuple[str, str]
#: (delivery table, session or runner)
RowOf = tuple[str, str]
#: Digests of a trial's parts, in the order of ``pipelines.taking_in.resends.PARTS``.
Parts = tuple[str, ...]
#: What the first line of a ledger follows.
NOTHING_BEFORE = "0" * 64


@dataclass(frozen=True)
class Known:
    """What is known of a name in the inbox: the signature it had, and the delivery it became."""

    signature: str
    delivery_id: str


@dataclass(frozen=True)
class Record:
    """What became of one delivery.

    result: a random word, new each time the delivery is judged, by which folder and ledger name this result.
    held: whether the depot holds its bytes, so that it can be judged again without the inbox.
    overrides: what a data manager decided on its trials (``pipelines.depot.overrides.digest``); empty if nothing.
    """

    delivery_id: str
    arrival: str
    status: str
    site: str | None
    number: int | None
    fingerprint: str
    received_utc: str
    code_version: str
    study_version: str
    result: str
    held: bool = False
    overrides: str = ""

    @property
    def taken_in(self) -> bool:
        """Whether its trials were judged."""
        return self.status == TAKEN_IN


@dataclass(frozen=True)
class Payload:
    """The payload files of a delivery the depot holds. stored: path -> sha256; closed: paths that are kept apart.

    left_out: files that came and are not kept; beside: notes on how it was packed. Both are told whenever the delivery
    is judged, though its bag as the depot puts it together shows neither.
    """

    stored: Mapping[str, str] = field(default_factory=dict)
    closed: frozenset[str] = frozenset()
    left_out: tuple[PayloadFile, ...] = ()
    beside: tuple[Problem, ...] = ()


@dataclass(frozen=True)
class TrialVersion:
    """One trial as one delivery brought it.

    trial_id: the name it goes by in the depot; of a withheld trial nothing but that and the standing is kept.
    gives_posture: whether running trials of its session and condition may lean on it.
    parts: digests of what was sent of it, if it is accepted. resend: the word by which the ledger names the exchange,
    if it took the place of another accepted version. before_delivery, before_parts: the accepted version it was
    compared with when it was judged; empty if there was none.
    """

    delivery_id: str
    trial_id: str
    site: str
    standing: str
    kind: str | None = None
    session_id: str | None = None
    condition: str | None = None
    raw_sha256: str | None = None
    second_sha256: str | None = None
    gives_posture: bool = False
    parts: Parts = ()
    resend: str = ""
    before_delivery: str = ""
    before_parts: Parts = ()


@dataclass(frozen=True)
class ToldRow:
    """What one delivery makes of a row of a session or runner, as digests of what counts of it; empty where nothing.

    sent: as the delivery sent it; given: as its accepted trials give it to others; taken: as a later delivery told it,
    if the delivery was judged with that.
    """

    sent: str = ""
    given: str = ""
    taken: str = ""


def word_of(told: Iterable[tuple[str, str]]) -> str:
    """One word for what later deliveries give of a row: delivery and digest; empty if they tell nothing else."""
    return ",".join(given for _, given in told)


@dataclass(frozen=True)
class Gate:
    """What one delivery tells the gate of others, and what its own rested on.

    withheld: the name it goes by in the depot -> trial id; files: trial id -> checksums of its files; runner_of: trial
    id -> runner; tables: checksums of its tables. knew: runner -> digest of what was known of the runner's consent;
    shut: trial -> why it was withheld whatever its own delivery says.
    """

    runners: tuple[str, ...] = ()
    events: tuple[ConsentEvent, ...] = ()
    withheld: Mapping[str, str] = field(default_factory=dict)
    files: Mapping[str, list[str]] = field(default_factory=dict)
    runner_of: Mapping[str, str] = field(default_factory=dict)
    tables: tuple[str, ...] = ()
    knew: Mapping[str, str] = field(default_factory=dict)
    shut: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Withdrawal:
    """A withdrawal that was asked for. tombstone: a random word; runner and files: keyed hashes."""

    tombstone: str
    runner: str
    scope: str
    files: tuple[str, ...] = ()


@dataclass(frozen=True)
class Job:
    """What is to be done for a withdrawal. by, account: who asked, and as which user of the operating system.

    due_utc: from when on bytes are removed; before, they are only withheld. participants: the runner's id in every
    spelling that was known, until it is done.
    """

    tombstone: str
    runner: str
    scope: str
    by: str
    account: str
    why: str
    asked_utc: str
    due_utc: str
    ended_utc: str | None = None
    participants: tuple[str, ...] = ()


@dataclass(frozen=True)
class Listed:
    """A withdrawal as the register beside the depot lists it. runner and files: keyed hashes.

    due_utc: when bytes are to be removed; renewed_from: study day from which consent counts again; taken_back: within
    its time of grace.
    """

    tombstone: str
    runner: str
    scope: str
    files: tuple[str, ...]
    asked_utc: str
    due_utc: str
    renewed_from: int | None = None
    taken_back: bool = False


@dataclass(frozen=True)
class Decision:
    """Who decided what, when and why. utc: ISO 8601."""

    why: str
    by: str
    utc: str


@dataclass(frozen=True)
class Followed:
    """What was done about one caution of a change-over: who looked at it last, who followed it up. utc: ISO 8601."""

    looked_by: str
    looked_utc: str
    followed_by: str | None = None
    followed_utc: str | None = None


@dataclass(frozen=True)
class Override:
    """One decision on one check of one trial. word: random, by which the ledger knows it. files: checksums."""

    word: str
    site: str
    trial_id: str
    files: tuple[str, ...]
    check_name: str
    decided: Decision
    taken_back: Decision | None = None

    @property
    def about(self) -> str:
        """What the ledger's line is about."""
        return f"override-{self.word}"

    def lines(self) -> tuple[tuple[str, str, Decision], ...]:
        """What the ledger tells of it: a short word, what it is about, who decided."""
        made = ("override", self.about, self.decided)
        back = self.taken_back
        return (made,) if back is None else (made, ("override_taken_back", f"{self.about}.taken-back", back))


@dataclass(frozen=True)
class Entry:
    """One release. content_sha256: over its tables; superseded_why: empty while it counts.

    ledger_sequence, ledger_hash: how far the ledger reached when it was frozen.
    """

    number: int
    utc: str
    actor: str
    why: str
    code_version: str
    study_version: str
    trial_count: int
    content_sha256: str
    superseded_utc: str = ""
    superseded_why: str = ""
    ledger_sequence: int = 0
    ledger_hash: str = NOTHING_BEFORE

    @property
    def name(self) -> str:
        """Name of its folder."""
        return f"release-{self.number:04d}"


@dataclass(frozen=True)
class Result:
    """Everything the books keep of one delivery's result; written in one transaction, in place of an older one.

    waiting: session and condition of running trials for which no standing trial has come yet.
    gate: None if nothing was taken in; what an older result told stays then, as long as its bytes are held.
    stamps: what was used -> its value, for the delivery as a whole. trial_stamps: trial -> the same, trial by trial.
    texts: keyed hash of each text that needed a person -> what was decided on it; empty if nothing yet.
    told_rows: rows of sessions and runners that it tells. packed_with: field of bag-info.txt -> value, of those that
    tell with what it was packed.
    shape_cells: accepted trial -> the cells in which its shapes lie. copied_in: deliveries after this one
    that were judged without its recordings and hold copies of them.
    """

    record: Record
    payload: Payload = Payload()
    waiting: tuple[Occasion, ...] = ()
    trials: tuple[TrialVersion, ...] = ()
    stamps: Mapping[str, str] = field(default_factory=dict)
    trial_stamps: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    gate: Gate | None = None
    texts: Mapping[str, str] = field(default_factory=dict)
    shape_cells: Mapping[str, Collection[str]] = field(default_factory=dict)
    copied_in: Collection[str] = ()
    told_rows: Mapping[RowOf, ToldRow] = field(default_factory=dict)
    packed_with: Mapping[str, str] = field(default_factory=dict)
