"""The rows of the books as plain values, so that whoever reads or writes them needs no database at hand.

How they are stored is in ``pipelines.depot.books.tables``; what they mean together in the modules beside it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from checks.findings import Stamp

#: The stamp of a delivery that stands for all its others.
MADE = "made"
#: Statuses of a delivery.
TAKEN_IN, STOPPED, REPEAT = "taken_in", "stopped", "repeat"
#: (session, condition)
Occasion = tuple[str, str]
#: Digests of a trial's parts, in the order of ``pipelines.taking_in.resends.PARTS``.
Parts = tuple[str, ...]


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
    consents: what the gate rested on (``pipelines.depot.consents.digest``); empty if nothing was taken in.
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
    consents: str = ""
    overrides: str = ""

    @property
    def taken_in(self) -> bool:
        """Whether its trials were judged."""
        return self.status == TAKEN_IN

    def made_by(self, stamp: Stamp) -> bool:
        """Whether this code and study made it."""
        return (self.code_version, self.study_version) == (stamp.code_version, stamp.study_version)


@dataclass(frozen=True)
class Payload:
    """The payload files of a delivery the depot holds. stored: path -> sha256; closed: paths that are kept apart."""

    stored: Mapping[str, str] = field(default_factory=dict)
    closed: frozenset[str] = frozenset()


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
class Result:
    """Everything the books keep of one delivery's result; written in one transaction, in place of an older one.

    waiting: session and condition of running trials for which no standing trial has come yet.
    stamps: what was used -> its value, for the delivery as a whole. trial_stamps: trial -> the same, trial by trial.
    """

    record: Record
    payload: Payload = Payload()
    waiting: tuple[Occasion, ...] = ()
    trials: tuple[TrialVersion, ...] = ()
    stamps: Mapping[str, str] = field(default_factory=dict)
    trial_stamps: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
