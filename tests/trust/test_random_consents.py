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
from checks.run import check_delivery
from pipelines.consent.veil import veil_of
from pipelines.intake.consent_forms import forms_not_understood
from schemas.consent import Consent
from schemas.convert.to_pandera import shape_problems
from schemas.delivery import SENT_CONSENTS
from schemas.delivery_beside import SENT_BREATHS, SENT_WEEKS
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


#: Words that a laboratory may write in place of those of the definition, none of which is one.
ODD = {
    "event": ["revoked", "Withdrawn", "GIVEN", "zurückgezogen", "", "no", "given?"],
    "scope": ["Motion", "all", "everything", "", "force;pooling"],
    "study_day": ["2026-03-02", "1.0", "five", "", "5000", "12 d"],
    "participant_id": ["", "FS 07", "*"],
    "form_version": ["9", "", "not signed yet", "pending", "1?", "yes", "1, perhaps", "n/a"],
}
Line = dict[str, str]


def malformed(chance: random.Random, events: list[Event]) -> list[Line]:
    """The events as lines of a table, some of them spoilt, doubled, or contradicted."""
    lines = [
        {"participant_id": r, "scope": str(s), "event": e, "study_day": str(d), "form_version": "1"}
        for r, s, e, d in events
    ]
    for line in list(lines):
        if chance.random() < 0.06:
            column = chance.choice(list(ODD))
            line[column] = chance.choice(ODD[column])
            if column == "participant_id" and chance.random() < 0.8:
                line["event"] = "given"  # a line that may take from anybody is rare, else nobody would be left
        if chance.random() < 0.06:
            line["participant_id"] = chance.choice([str.lower, str.upper, "  {} ".format])(line["participant_id"])
        if chance.random() < 0.03:
            lines.append(dict(line))
        if chance.random() < 0.02:
            lines.append(line | {"event": "withdrawn" if line["event"] == "given" else "given"})
    chance.shuffle(lines)
    return lines


def may_by_lines(lines: list[Line], runner: str, day: int, *scopes: str) -> bool:
    """Reads the lines one by one as a cautious person would: what is clear gives; what is not clear takes."""
    in_force = dict.fromkeys(scopes, -1000)
    taken: dict[str, list[int]] = {scope: [] for scope in scopes}
    for line in lines:
        who, what, event = line["participant_id"].strip(), line["scope"].strip(), line["event"].strip()
        number = line["study_day"].strip()
        when = int(number) if number.lstrip("-").isdigit() and -60 <= int(number) <= 1000 else None
        readable = bool(who) and all(c.isascii() and (c.isalnum() or c in ".-_") for c in who)
        clear = what in (*SCOPES, "open_sharing") and event in ("given", "withdrawn") and when is not None
        signed = event != "given" or line["form_version"] == "1"
        if event == "given" and (not readable or (clear and signed and who != runner)):
            continue
        if readable and who.lower() != runner.lower():
            continue
        for scope in scopes:
            if clear and signed and event == "given":
                if what == scope and when is not None and when <= day:
                    in_force[scope] = max(in_force[scope], when)
            elif what == scope or what not in (*SCOPES, "open_sharing"):
                taken[scope].append(-999 if when is None else when)
    for scope in scopes:
        if -999 in taken[scope] or in_force[scope] == -1000:
            return False
        if any(in_force[scope] <= when <= day for when in taken[scope]):
            return False
    return True


def a_random_delivery(chance: random.Random) -> tuple[Received, list[Event], dict[str, int]]:
    """20 runners with one session, two trials, breaths and a week each; events partly known from elsewhere."""
    runners = [f"Q{chance.randrange(10**6):06d}x{n}" for n in range(RUNNERS_EACH)]
    days = {runner: chance.randint(0, 30) for runner in runners}
    events = [event for runner in runners for event in a_history(chance, runner)]
    elsewhere = [e for e in events if e[3] is None or chance.random() < 0.3]
    own = [e for e in events if e not in elsewhere]
    consents = [
        {"participant_id": r, "scope": s, "event": e, "study_day": d, "form_version": "1"} for r, s, e, d in own
    ]
    return _delivery(days, consents, tuple(elsewhere)), events, days


def _delivery(days: dict[str, int], consents: list[dict[str, Any]], elsewhere: tuple[Event, ...] = ()) -> Received:
    """A session, two trials, a muscle channel, a breath and a week of each runner, with a mass by which they are known."""
    masses = {runner: round(50 + 0.1137 * place, 4) for place, runner in enumerate(days)}
    breath = {"condition": "shod", "bout": 1, "elapsed_s": 15.0}
    received = a_delivery(
        sent_participants=[{**RUNNER, "participant_id": r, "mass_kg": 1.2 * mass} for r, mass in masses.items()],
        sent_sessions=[
            {**SESSION, "session_id": f"S-{r}", "participant_id": r, "study_day": day, "mass_kg": masses[r]}
            for r, day in days.items()
        ],
        sent_trials=[a_row(f"T-{r}-{k}", session_id=f"S-{r}") for r in days for k in (1, 2)],
        sent_channels=[{"trial_id": f"T-{r}-1", "label": "SOL", "role": "muscle"} for r in days],
        sent_breaths=[{**breath, "session_id": f"S-{r}"} for r in days],
        sent_weeks=[{"participant_id": r, "week": day // 7 + 1, "condition": "shod"} for r, day in days.items()],
        sent_consents=consents,
    )
    files = tuple(replace(f, sha256=hashlib.sha256(f.path.encode()).hexdigest()) for f in received.files)
    return replace(received, files=files, other_consents=elsewhere)


def a_malformed_delivery(chance: random.Random) -> tuple[Received, list[Line], dict[str, int]]:
    """The same with a table of consents as a laboratory may have written it, read as every table is."""
    runners = [f"Q{chance.randrange(10**6):06d}x{n}" for n in range(RUNNERS_EACH)]
    days = {runner: chance.randint(0, 30) for runner in runners}
    told = [event for r in runners for event in a_history(chance, r) if event[1] is not None and event[3] is not None]
    lines = malformed(chance, told)
    shaped, problems = shape_problems(SENT_CONSENTS, pd.DataFrame(lines), "consents.csv")
    typed, unknown = forms_not_understood(shaped, range(2, len(lines) + 2), ("1",))
    received = _delivery(days, [])
    tables = {**received.tables, SENT_CONSENTS.name: typed}
    return replace(received, tables=tables, problems=(*problems, *unknown)), lines, days


def test_no_unconsented_row_passes_and_no_consented_one_is_lost() -> None:
    kept_out, passed = examine(deliveries=10, seed=1)
    assert kept_out > 40, "enough histories forbid"
    assert min(passed.values()) > 40, "enough histories allow"


def test_of_malformed_histories_only_passes_what_is_clear() -> None:
    kept_out, passed = examine(deliveries=10, seed=2, spoilt=True)
    assert kept_out > 40, "enough histories forbid"
    assert min(passed.values()) > 40, "enough histories allow"


def examine(deliveries: int, seed: int = 20261125, *, spoilt: bool = False) -> tuple[int, dict[str, int]]:
    """Put random deliveries before the gate; returns runners kept out, and runners of whom each kind passed.

    spoilt: the histories are written as no history should be. Raises AssertionError if anything passes that may not,
    if anything that may is kept out, or if a finding tells a value of a runner of whom nothing passes.
    """
    chance, study = random.Random(seed), a_study()
    passed: dict[str, int] = {}
    kept_out = 0
    for _ in range(deliveries):
        received, told, days = (a_malformed_delivery if spoilt else a_random_delivery)(chance)
        report, consent = check_delivery(study, "mill-001", Consent.of(received, study), Stamp("c", "s"))
        seen: dict[str, set[Any]] = {
            "trial": {row["participant_id"] for t, row in consent.trials.items() if t not in consent.withheld},
            "muscle": {r["participant_id"] for t, r in consent.trials.items() if consent.allows(t, "muscle")},
            "breath": {session.removeprefix("S-") for session in consent.rows(SENT_BREATHS)["session_id"]},
            "week": set(consent.rows(SENT_WEEKS)["participant_id"]),
        }

        def allowed(runner: str, day: int, *scopes: str, told: Any = told) -> bool:
            return may_by_lines(told, runner, day, *scopes) if spoilt else may(told, runner, day, *scopes)

        wanted: dict[str, set[Any]] = {
            "trial": {r for r, day in days.items() if allowed(r, day, "motion", "force", "pooling")},
            "muscle": {r for r, day in days.items() if allowed(r, day, "muscle")},
            "breath": {r for r, day in days.items() if allowed(r, day, "metabolic", "pooling")},
            "week": {r for r, day in days.items() if allowed(r, day // 7 * 7, "pooling")},
        }
        assert seen == wanted
        nowhere = set(days) - seen["trial"] - seen["breath"] - seen["week"]
        shown = repr(veil_of("mill-001", consent).findings(report.findings))
        masses = dict(
            received.tables["sent_sessions"][["participant_id", "mass_kg"]].itertuples(index=False, name=None)
        )
        assert not [r for r in nowhere if r in shown or f"{masses[r]:.1f} kg" in shown]
        kept_out += len(days) - len(seen["trial"])
        passed = {name: passed.get(name, 0) + len(found) for name, found in seen.items()}
    return kept_out, passed
