"""Random consent histories, ten thousand with ``python -m benchmarks.consents``: what passes the gate is exactly what an independent reading says may pass.

The independent reading walks each runner's history day by day; it shares nothing with ``schemas.consent_history``.
"""

from __future__ import annotations

import hashlib
import random
from dataclasses import replace
from typing import Any

import pandas as pd

from checks.findings import Stamp
from checks.registry import Subject
from checks.run import Context, run_checks
from pipelines.consent.veil import veil_of
from pipelines.judging.trial_jobs import trial_rows
from pipelines.taking_in.keeping import withheld_trials
from schemas.agreed import agreed_weeks, allowed, energy_sessions
from schemas.received import Received
from tests.builders import a_study
from tests.checks.received_builders import RUNNER, SESSION, a_delivery, a_row

RUNNERS_EACH = 20
SCOPES = ("motion", "force", "muscle", "metabolic", "pooling")
Event = tuple[str, str | None, str, int | None]


def a_history(chance: random.Random, runner: str) -> list[Event]:
    """From none to many events; mostly given early, so that both answers are common."""
    events: list[Event] = [(runner, s, "given", chance.choice([-9, 0, 5])) for s in SCOPES if chance.random() < 0.85]
    for _ in range(chance.choice([0, 0, 1, 2, 6])):
        events.append((runner, chance.choice(SCOPES), chance.choice(["given", "withdrawn"]), chance.randint(-9, 40)))
    if chance.random() < 0.05:  # a withdrawal by command: every day, perhaps every scope
        events.append((runner, chance.choice([*SCOPES, None]), "withdrawn", None))
    chance.shuffle(events)
    return events


def may(events: list[Event], runner: str, day: int, *scopes: str) -> bool:
    """Walks the days from the first: what is in force after the events of ``day``."""
    for scope in scopes:
        own = [(d, kind) for who, of, kind, d in events if who == runner and of in (scope, None)]
        if any(d is None for d, _ in own):
            return False
        in_force = False
        for today in range(-60, day + 1):
            kinds = [kind for d, kind in own if d == today]
            in_force = False if "withdrawn" in kinds else (True if kinds else in_force)
        if not in_force:
            return False
    return True


def a_random_delivery(chance: random.Random) -> tuple[Received, list[Event], dict[str, int]]:
    """20 runners with one session, two trials, breaths and a week each; events partly known from elsewhere."""
    runners = [f"Q{chance.randrange(10**6):06d}x{n}" for n in range(RUNNERS_EACH)]
    days = {runner: chance.randint(0, 30) for runner in runners}
    events = [event for runner in runners for event in a_history(chance, runner)]
    elsewhere = [e for e in events if e[3] is None or chance.random() < 0.3]
    own = [e for e in events if e not in elsewhere]
    received = a_delivery(
        sent_participants=[{**RUNNER, "participant_id": r} for r in runners],
        sent_sessions=[{**SESSION, "session_id": f"S-{r}", "participant_id": r, "study_day": days[r]} for r in runners],
        sent_trials=[a_row(f"T-{r}-{k}", session_id=f"S-{r}") for r in runners for k in (1, 2)],
        sent_consents=[
            {"participant_id": r, "scope": s, "event": e, "study_day": d, "form_version": "1"} for r, s, e, d in own
        ],
    )
    files = tuple(replace(f, sha256=hashlib.sha256(f.path.encode()).hexdigest()) for f in received.files)
    weeks = pd.DataFrame({"participant_id": runners, "week": [days[r] // 7 + 1 for r in runners]})
    weeks["week"] = weeks["week"].astype("Int64")
    tables = {**received.tables, "sent_weeks": weeks}
    return replace(received, files=files, tables=tables, other_consents=tuple(elsewhere)), events, days


def test_no_unconsented_row_passes_and_no_consented_one_is_lost() -> None:
    kept_out, passed = examine(deliveries=25, seed=1)
    assert kept_out > 100, "enough histories forbid"
    assert min(passed.values()) > 100, "enough histories allow"


def examine(deliveries: int, seed: int = 20261125) -> tuple[int, dict[str, int]]:
    """Put random deliveries before the gate; returns runners kept out, and runners of whom each kind passed.

    Raises AssertionError if anything passes that may not, or anything that may is kept out.
    """
    chance, study = random.Random(seed), a_study()
    passed: dict[str, int] = {}
    kept_out = 0
    for _ in range(deliveries):
        received, events, days = a_random_delivery(chance)
        report = run_checks(
            Subject.DELIVERY,
            Context(study=study, delivery_id="mill-001", site="mill", delivery=received),
            Stamp("c", "s"),
            only=["consent_covers_the_trial"],
        )
        withheld = withheld_trials(report, received)
        rows = trial_rows(received)
        seen: dict[str, set[Any]] = {
            "trial": {rows[t]["participant_id"] for t in set(rows) - withheld},
            "muscle": {r["participant_id"] for t, r in rows.items() if allowed(received, r, "muscle") and t[-1] == "1"},
            "breath": {session.removeprefix("S-") for session in energy_sessions(received)},
            "week": set(agreed_weeks(received.tables["sent_weeks"], received)["participant_id"]),
        }
        wanted: dict[str, set[Any]] = {
            "trial": {r for r, day in days.items() if may(events, r, day, "motion", "force", "pooling")},
            "muscle": {r for r, day in days.items() if may(events, r, day, "muscle")},
            "breath": {r for r, day in days.items() if may(events, r, day, "metabolic", "pooling")},
            "week": {r for r, day in days.items() if may(events, r, day // 7 * 7, "pooling")},
        }
        assert seen == wanted
        nowhere = set(days) - seen["trial"] - seen["breath"] - seen["week"]
        shown = veil_of("mill-001", received, withheld).findings(report.findings)
        text = repr(shown)
        assert not [r for r in nowhere if r in text]
        kept_out += len(days) - len(seen["trial"])
        passed = {name: passed.get(name, 0) + len(found) for name, found in seen.items()}
    return kept_out, passed
