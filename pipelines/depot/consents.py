"""What the depot knows of consent beyond one delivery: events of other deliveries, withdrawals, trials withheld later.

Kept in ``consents/``, which only the depot's owner can read and from which nothing is shown. Withdrawn runners and
their files stand there as keyed hashes: enough to know them when they are sent again, without a list of who left.
Whether an event covers a day is in ``schemas.consent_history``; how a runner is taken out in
``pipelines.deciding.withdrawal``.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
import stat
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from pipelines.depot.books.rows import Record
from pipelines.depot.desk import Desk, Opened
from pipelines.depot.storage import Depot, write_json
from schemas.consent import Consent
from schemas.consent_history import ANYBODY, spelled
from schemas.delivery import RECORDED
from schemas.joined import runners_of, shas_of_trials
from schemas.received import ConsentEvent

EVERY_SCOPE = "all"
#: Scopes without which nothing of a trial can be kept, since bytes cannot be cut out of its file.
WHOLE_TRIAL = frozenset({EVERY_SCOPE, *RECORDED.needs})
_LATER = "a later delivery brought the trial, and there consent does not cover it"
_TAKEN_BACK = "its file is one that was taken out when a runner withdrew"


@dataclass(frozen=True)
class Gate:
    """What one delivery tells the gate.

    withheld: the name it goes by in the depot -> trial id; files: trial id -> checksums of its files; runner_of: trial
    id -> runner; tables: checksums of its tables.
    """

    runners: tuple[str, ...] = ()
    events: tuple[ConsentEvent, ...] = ()
    withheld: Mapping[str, str] = field(default_factory=dict)
    files: Mapping[str, list[str]] = field(default_factory=dict)
    runner_of: Mapping[str, str] = field(default_factory=dict)
    tables: tuple[str, ...] = ()


@dataclass(frozen=True)
class Withdrawal:
    """A withdrawal that was asked for. tombstone: a random word; runner and files: keyed hashes."""

    tombstone: str
    runner: str
    scopes: tuple[str, ...]
    files: tuple[str, ...] = ()


class Memory:
    """The withdrawals of a depot, and the key by which their runners and files are known again."""

    def __init__(self, depot: Depot) -> None:
        self._depot = depot
        self._path = depot.consents / "withdrawn.json"
        content = json.loads(self._path.read_text(encoding="utf-8")) if self._path.exists() else {}
        self._key: str = content.get("key") or secrets.token_hex(32)
        self.withdrawals = [
            Withdrawal(w["tombstone"], w["runner"], tuple(w["scopes"]), tuple(w["files"]))
            for w in content.get("withdrawals", [])
        ]

    def word(self, text: str) -> str:
        """A keyed hash of a runner's id or a file's checksum."""
        return hmac.new(bytes.fromhex(self._key), text.encode(), hashlib.sha256).hexdigest()

    def scopes(self, runner: str) -> set[str]:
        """What the runner has withdrawn by command; may hold "all"."""
        word = self.word(runner) if self.withdrawals else ""
        return {scope for w in self.withdrawals if w.runner == word for scope in w.scopes}

    def events(self, runners: Iterable[str]) -> list[ConsentEvent]:
        """The withdrawals as events that count on every day."""
        own = [(runner, scope) for runner in runners for scope in sorted(self.scopes(runner))]
        return [(runner, None if scope == EVERY_SCOPE else scope, "withdrawn", None) for runner, scope in own]

    def knows_file(self, sha256: str) -> bool:
        """Whether a file with this checksum was taken out when its runner withdrew."""
        word = self.word(sha256) if self.withdrawals else ""
        return any(word in w.files for w in self.withdrawals)

    def remember(self, runner: str, scope: str, shas: Iterable[str]) -> Withdrawal:
        """Note a withdrawal before anything is removed; one that is noted already only gains files."""
        word, files = self.word(runner), {self.word(sha) for sha in shas}
        same = next((w for w in self.withdrawals if w.runner == word and scope in w.scopes), None)
        kept = [w for w in self.withdrawals if w is not same]
        now = Withdrawal(
            same.tombstone if same else secrets.token_hex(8),
            word,
            (scope,),
            tuple(sorted(files | set(same.files if same else ()))),
        )
        self.withdrawals = [*kept, now]
        own_folder(self._depot)
        write_json(self._path, {"key": self._key, "withdrawals": [asdict(w) for w in self.withdrawals]})
        self._path.chmod(stat.S_IRUSR | stat.S_IWUSR)
        return now


def own_folder(depot: Depot) -> None:
    """Make the folder of consents, closed to all but the depot's owner."""
    depot.consents.mkdir(parents=True, exist_ok=True)
    depot.consents.chmod(stat.S_IRWXU)


def note_gate(depot: Depot, delivery_id: str, gate: Gate) -> None:
    """Remember what a delivery tells the gate."""
    own_folder(depot)
    write_json(depot.consents / f"{delivery_id}.json", asdict(gate))


def read_gate(depot: Depot, delivery_id: str) -> Gate:
    """What a delivery told the gate; nothing if it was never judged."""
    path = depot.consents / f"{delivery_id}.json"
    if not path.exists():
        return Gate()
    content: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    told = tuple((runner, scope, event, day) for runner, scope, event, day in content["events"])
    return Gate(
        tuple(content["runners"]), told, content["withheld"], content["files"], content["runner_of"], content["tables"]
    )


def gate_of(consent: Consent, withheld: Mapping[str, str]) -> Gate:
    """What a delivery tells the gate. withheld: trial id -> the name it goes by in the depot."""
    received = consent.received
    return Gate(
        tuple(sorted(runners_of(received))),
        tuple(sorted({event for event in consent.events if event[0] != ANYBODY}, key=repr)),
        {name: trial for trial, name in withheld.items()},
        consent.shas,
        consent.runner_of,
        tuple(f.sha256 for f in received.files if "/" not in f.path),
    )


def gates_of(depot: Depot, all_records: Mapping[str, Record]) -> dict[str, Gate]:
    """What each delivery that was taken in told the gate."""
    return {r.delivery_id: read_gate(depot, r.delivery_id) for r in all_records.values() if r.taken_in}


def with_all_consents(desk: Desk, opened: Opened) -> Opened:
    """Adds what the depot knows of the runners' consent, so that the gate sees the whole history."""
    received, memory = opened.received, Memory(desk.depot)
    all_records = {r.delivery_id: r for r in desk.books.deliveries.taken_in()}
    others = {name: r for name, r in all_records.items() if r.arrival != opened.arrival}
    gates = gates_of(desk.depot, others)
    runners = runners_of(received)
    alike = {spelled(runner) for runner in runners}
    told = {e for gate in gates.values() for e in gate.events if spelled(e[0]) in alike} | set(memory.events(runners))
    later = _withheld_later(gates, others, received.site, received.number)
    shut = _shut(later, shas_of_trials(received), memory)
    received = replace(received, other_consents=tuple(sorted(told, key=repr)), shut_trials=shut)
    return replace(opened, received=received)


def digest(result: str, consent: Consent) -> str:
    """What the gate of a delivery rests on, as one word; salted with the random word of the result."""
    own = {event for event in consent.events if event[0] != ANYBODY}
    return _digest(result, own | set(consent.received.other_consents), consent.received.shut_trials)


def changed(desk: Desk) -> list[Record]:
    """Deliveries whose gate no longer rests on what is known today; the latest of a site first."""
    all_records, memory = {r.delivery_id: r for r in desk.books.deliveries.taken_in()}, Memory(desk.depot)
    gates = gates_of(desk.depot, all_records)
    by_runner: dict[str, set[ConsentEvent]] = {}
    for event in (e for gate in gates.values() for e in gate.events):
        by_runner.setdefault(spelled(event[0]), set()).add(event)
    found = []
    for name, gate in gates.items():
        record = all_records[name]
        told = {e for runner in gate.runners for e in by_runner.get(spelled(runner), ())}
        told |= set(memory.events(gate.runners))
        later = _withheld_later(gates, all_records, record.site, record.number)
        shut = _shut(later, gate.files, memory)
        if record.held and record.consents != _digest(record.result, told, shut):
            found.append(record)
    return sorted(found, key=lambda r: (r.site or "", -(r.number or 0)))


def _withheld_later(
    gates: Mapping[str, Gate], all_records: Mapping[str, Record], site: str | None, number: int | None
) -> set[str]:
    """Trials that a later delivery of the site brought without consent: an earlier version of them ends, too."""
    later = [n for n in gates if all_records[n].site == site and (all_records[n].number or 0) > (number or 0)]
    return {trial for name in later for trial in gates[name].withheld.values()}


def _shut(later: set[str], files: Mapping[str, list[str]], memory: Memory) -> dict[str, str]:
    """Trials that are withheld whatever their own delivery says, and why."""
    taken_back = [t for t, own in files.items() if any(memory.knows_file(sha) for sha in own)]
    return {**dict.fromkeys(later & set(files), _LATER), **dict.fromkeys(taken_back, _TAKEN_BACK)}


def _digest(result: str, told: Iterable[ConsentEvent], shut: Mapping[str, str]) -> str:
    facts = (result, sorted(set(told), key=repr), sorted(shut.items()))
    return hashlib.sha256(repr(facts).encode()).hexdigest()
