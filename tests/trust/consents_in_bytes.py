"""Deliveries of runners with random consent histories taken the whole way, and then every byte of the depot searched.

Nothing here asks the code under test what may pass: ``may`` of ``test_random_consents`` walks the days by itself.
"""

from __future__ import annotations

import hashlib
import random
from dataclasses import dataclass
from pathlib import Path

import duckdb
import numpy as np

from demo_site_uploads.simulator.bags import bag_info, descriptor, make_bag
from demo_site_uploads.simulator.delivery import PlannedTrial, Session
from demo_site_uploads.simulator.measure import Asked
from demo_site_uploads.simulator.tables import Rows, participant_row
from pipelines.assets.deciding import release, withdraw
from pipelines.assets.run import run
from pipelines.depot.search_bytes import files_with
from pipelines.depot.storage import Depot
from pipelines.intake.c3d.layout import read_layout
from tests.delivery_builders import STUDY, leaving
from tests.trust.test_random_consents import Event, a_history, may

RUNNERS_EACH = 12
_DAY = 1  # study day of every session, within the window of the first visit


@dataclass(frozen=True)
class Person:
    """One invented runner of the search: what may be kept, and by what the runner's data would be known."""

    name: str
    mass_kg: float
    trial_id: str
    sha256: str
    first_values: bytes
    trial: bool
    breaths: bool
    week: bool

    @property
    def nowhere(self) -> bool:
        """Whether nothing of the runner may be kept."""
        return not (self.trial or self.breaths or self.week)


@dataclass
class Searched:
    """What was searched for, and where something stood that may not; ``kept`` counts what rightly stayed."""

    histories: int = 0
    files: int = 0
    kept: int = 0
    withdrawn: int = 0
    leaks: tuple[str, ...] = ()


def search(folder: Path, deliveries: int, seed: int, withdrawals: int) -> Searched:
    """Send ``deliveries``, run, freeze a release, search; then withdraw some runners by command and search again."""
    chance = random.Random(seed)
    inbox, depot = folder / "inbox", Depot(folder / "depot")
    base = PlannedTrial(Session("FS-01", "week_0", "brack"), "cushioned", "standing", Asked("standing", duration_s=0.2))
    content = base.content()
    people: list[Person] = []
    for number in range(1, deliveries + 1):
        people += _send(inbox, number, chance, base, content)
    run(STUDY, inbox, depot.root, "tester")
    release(STUDY, depot.root, "search", "tester")
    done = Searched(histories=len(people), kept=sum(p.trial for p in people))
    done.leaks = tuple(_leaks(depot, people, done))
    going = [p for p in people if p.trial][:withdrawals]
    for person in going:
        withdraw(STUDY, depot.root, leaving(person.name))
    if going:
        release(STUDY, depot.root, "search again", "tester")
        gone = {p.name for p in going}
        none = dict.fromkeys(("trial", "breaths", "week"), False)
        after = [Person(**{**vars(p), **none}) if p.name in gone else p for p in people]
        done.leaks += tuple(_leaks(depot, after, done))
        done.withdrawn = len(going)
    return done


def _send(inbox: Path, number: int, chance: random.Random, base: PlannedTrial, content: bytes) -> list[Person]:
    rows, payload, people = Rows(), {}, []
    for place in range(RUNNERS_EACH):
        name = f"FS-{number:03d}{place:02d}"
        events = [(w, s, e, max(d, 0)) for w, s, e, d in a_history(chance, name) if d is not None and s is not None]
        mass = round(55 + number / 10 + place / 1000 + 0.0137, 4)
        own = _own_recording(content, number * 100 + place)
        person = _person(name, mass, own, events)
        people.append(person)
        session = f"S-{name}"
        rows.participants.append(
            participant_row(base.session.runner) | {"participant_id": name, "mass_kg": mass, "birth_year": 1950 + place}
        )
        rows.consents += [
            {"participant_id": w, "scope": s, "event": e, "study_day": d, "form_version": "1"} for w, s, e, d in events
        ]
        rows.sessions.append(
            base.session.row() | {"session_id": session, "participant_id": name, "mass_kg": mass, "study_day": _DAY}
        )
        file = f"trials/{person.trial_id}.c3d"
        rows.trials.append(base.row(1) | {"trial_id": person.trial_id, "session_id": session, "file": file})
        rows.breaths += [r | {"session_id": session} for r in base.session.bout("cushioned").rows()]
        rows.weeks.append({"participant_id": name, "week": 1, "condition": "cushioned", "running_min": 100 + place})
        payload[file] = own
    payload |= rows.files() | {"datapackage.json": descriptor("test", tuple(rows.by_table()))}
    make_bag(inbox / "brack" / f"brack-{number:03d}", payload, bag_info("brack", number))
    return people


def _person(name: str, mass: float, own: bytes, events: list[Event]) -> Person:
    return Person(
        name,
        mass,
        f"T-{name}",
        hashlib.sha256(own).hexdigest(),
        own[(start := read_layout(own).counts.data_start) : start + 12],
        trial=may(events, name, _DAY, "motion", "force", "pooling"),
        breaths=may(events, name, _DAY, "metabolic", "pooling"),
        week=may(events, name, 0, "pooling"),
    )


def _own_recording(content: bytes, number: int) -> bytes:
    """The recording of somebody who sways in a way of their own, by a few millimetres, with markers of their own.

    These lie some millimetres elsewhere on each person, and shake a little, each for itself: else it were a copy.
    """
    counts = read_layout(content).counts
    start, end = counts.data_start, counts.data_start + counts.frames * counts.frame_bytes
    values = np.frombuffer(content[start:end], "<f4").reshape(counts.frames, -1).copy()
    own = np.random.default_rng(number)
    steps = own.normal(0, 0.4, (counts.frames, 3))
    for marker in range(counts.points):
        path = np.cumsum(steps, axis=0) + own.normal(0, 2, 3) + own.normal(0, 0.3, (counts.frames, 3))
        values[:, 4 * marker : 4 * marker + 3] += path
    return content[:start] + values.tobytes() + content[end:]


def _book_keeping(path: Path, depot: Depot) -> bool:
    """The lists of files of a delivery as it came, which the owner alone reads: names and checksums, no values.

    They stand under "not promised" in docs/explain/trust.md; a withdrawal by command rewrites them too.
    """
    return path.is_relative_to(depot.root / "deliveries") and path.parent.name == "bag"


def _leaks(depot: Depot, people: list[Person], done: Searched) -> list[str]:
    words = [w for p in people if p.nowhere for w in (p.name, f"S-{p.name}", str(p.mass_kg))]
    words += [w for p in people if not p.trial for w in (p.trial_id, p.sha256)]
    done.files, found = files_with(depot, words, [p.first_values for p in people if not p.trial])
    leaks = [path.relative_to(depot.root).as_posix() for path in found if not _book_keeping(path, depot)]
    with duckdb.connect(str(depot.warehouse), read_only=True) as connection:
        for table, column, of in (
            ("trials", "participant_id", "trial"),
            ("energy_bouts", "session_id", "breaths"),
            ("reported_weeks", "participant_id", "week"),
        ):
            seen = {row[0] for row in connection.execute(f"SELECT DISTINCT {column} FROM {table}").fetchall()}
            key = {(f"S-{p.name}" if column == "session_id" else p.name): p for p in people}
            leaks += [f"{table}: {name}" for name in seen if not getattr(key[name], of)]
        judged = {row[0] for row in connection.execute("SELECT trial_id FROM standings").fetchall()}
    return leaks + [f"withheld although consented: {p.name}" for p in people if p.trial and p.trial_id not in judged]
