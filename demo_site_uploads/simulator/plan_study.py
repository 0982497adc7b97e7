"""Deliveries with faults in breathing gas, in what is said of people, in visits and order, and in the weekly log.

Nearly all of them are in tables, so that recordings are few and tiny. What each must lead to is in
``expected_findings.csv``.
"""

from __future__ import annotations

from dataclasses import replace

from demo_site_uploads.simulator import faults_study as faults
from demo_site_uploads.simulator.delivery import Delivery, PlannedTrial, Session
from demo_site_uploads.simulator.measure import Asked
from demo_site_uploads.simulator.runner import RUNNERS, gait_of
from demo_site_uploads.simulator.tables import Rows

TINY = Asked("standing", duration_s=0.06)
CUSHIONED_SOLE_M = 0.028  # that of the cushioned shoe: half of it is the least that is told
WELL = (0, None, None, None)
PLANNED = {1: (168, 42), 2: (156, 54), 3: (143, 67), 4: (127, 83), 5: (109, 101), 6: (90, 120)}


def deliveries() -> tuple[Delivery, ...]:
    """One small delivery for each laboratory."""
    return (
        Delivery("brack", "brack-013.zip", "brack", 13, _brack(), tables_fault=_brack_tables),
        Delivery("corrie", "corrie-013.zip", "corrie", 13, _corrie(), tables_fault=_corrie_tables),
        Delivery("tarn", "tarn-013.zip", "tarn", 13, _tarn(), tables_fault=_tarn_tables),
    )


def _brack() -> tuple[PlannedTrial, ...]:
    return (PlannedTrial(Session("FS-02", "week_10", "brack"), "unshod", "standing", TINY),)


def _brack_tables(rows: Rows) -> None:
    _gas(rows)
    _people(rows)


def _gas(rows: Rows) -> None:
    """One fault in each bout: a set speed that was not that of the bout is the fault of FS-72."""
    for number in (71, 72, 73, 74):
        faults.enrol(rows, f"FS-{number}", weekly_distance_km_per_wk=float(number - 40))
    one, two, three, four = (
        faults.visit(rows, f"FS-{n}-w0-brack", f"FS-{n}", "brack", set_speed_m_per_s=4.6 if n == 72 else 3.0)
        for n in (71, 72, 73, 74)
    )
    mass = one["mass_kg"]
    rows.breaths += faults.cut_after(faults.gas(one, "brack", "cushioned"), 240)
    rows.breaths += faults.scaled(faults.gas(one, "brack", "thin_soled"), carbon=0.6)
    rows.breaths += faults.scaled(faults.gas(one, "brack", "unshod"), 1 / mass, 1 / mass, digits=1)
    rows.breaths += faults.gas(two, "brack", "cushioned")
    rows.breaths += faults.pasted_later(faults.gas(three, "brack", "cushioned"), 4, 2, 3)
    rows.breaths += faults.lost_between(faults.gas(three, "brack", "thin_soled"), 60, 150)
    rows.breaths += faults.held(faults.gas(three, "brack", "unshod"), 90, 5)
    rows.breaths += (same := faults.gas(four, "brack", "cushioned"))
    rows.breaths += faults.with_cells(same, condition="thin_soled")
    rows.breaths += faults.gas(four, "brack", "unshod")
    rows.breaths += faults.with_cells(faults.gas(four, "brack", "unshod", bout=3), heart_rate_per_min=62)


def _people(rows: Rows) -> None:
    """One slip for each: the year of enrolment for that of birth, figures of a stature exchanged, the leg to the malleolus, pounds, two ids."""
    faults.enrol(rows, "FS-75", birth_year=2026)
    faults.enrol(rows, "FS-76", stature_m=1.36, leg_length_m=None)
    faults.enrol(rows, "FS-77", leg_length_m=0.79)
    faults.enrol(rows, "FS-78", mass_kg=128.7)
    twin = next(row for row in rows.participants if row["participant_id"] == "FS-74")
    faults.enrol(rows, "FS-79", **{name: value for name, value in twin.items() if name != "participant_id"})


def _corrie() -> tuple[PlannedTrial, ...]:
    """A run said to be unshod with the cushioned sole under the feet, and its standing trial, which came after it."""
    session = Session("FS-02", "week_10", "corrie")
    gait = replace(gait_of(RUNNERS["FS-02"], "unshod", "week_10"), sole_m=CUSHIONED_SOLE_M)
    return (
        PlannedTrial(session, "unshod", "1", Asked(duration_s=0.5, gait=gait, muscles=False)),
        PlannedTrial(session, "unshod", "standing", TINY),
    )


def _corrie_tables(rows: Rows) -> None:
    """Gas of three runners at body temperature, and a session whose running trials stayed behind at the laboratory."""
    for n in (81, 82, 83):
        faults.enrol(rows, f"FS-{n}", weekly_distance_km_per_wk=float(n - 50))
        session = faults.visit(rows, f"FS-{n}-w0-corrie", f"FS-{n}", "corrie")
        rows.breaths += faults.scaled(faults.gas(session, "corrie", "cushioned"), 1.21, 1.21)


def _tarn() -> tuple[PlannedTrial, ...]:
    """Seven runners who stood in both conditions, all in the same order."""
    sessions = [Session(f"FS-{n:02d}", "week_10", "tarn") for n in (1, 2, 4, 5, 6, 8, 9)]
    return tuple(PlannedTrial(s, c, "standing", TINY) for s in sessions for c in ("cushioned", "unshod"))


def _tarn_tables(rows: Rows) -> None:
    _orders(rows)
    _visits(rows)
    _logs(rows)


def _orders(rows: Rows) -> None:
    """Of two sessions the second trial has a wrong number; of a third, running trials are named and not sent, one of them
    leaning on the standing trial of another runner.
    """
    by_id = {row["trial_id"]: row for row in rows.trials}
    by_id["FS-01-w10-tarn-unshod-standing"]["trial_order"] = 1
    by_id["FS-02-w10-tarn-unshod-standing"]["trial_order"] = 3
    last = by_id["FS-04-w10-tarn-unshod-standing"]
    for number, condition in enumerate(("cushioned",) * 4 + ("unshod",), 1):
        trial = f"FS-04-w10-tarn-{condition}-{number}"
        told = {"trial_id": trial, "condition": condition, "kind": "running", "trial_order": number + 2}
        rows.trials.append({**last, **told, "file": f"trials/{trial}.c3d"})
    rows.trials[-1]["standing_session_id"] = "FS-01-w10-tarn"


def _visits(rows: Rows) -> None:
    """Late, exchanged, twice, faster, in km/h, on another surface, and 8 % lighter than at the visit before."""
    for n in range(91, 98):
        faults.enrol(rows, f"FS-{n}", weekly_distance_km_per_wk=float(n - 60), mass_kg=60.0)
    at_five, at_ten = {"visit": "week_5", "study_day": 39}, {"visit": "week_10", "study_day": 74}

    def visit(name: str, **changes: object) -> None:
        faults.visit(rows, f"FS-{name}-tarn", f"FS-{name[:2]}", "tarn", **{"mass_kg": 60.0} | changes)

    visit("91-w5", visit="week_5", study_day=56)
    visit("92-w5", visit="week_5", study_day=74)
    visit("92-w10", visit="week_10", study_day=39)
    visit("93-w5", **at_five)
    visit("93-w5-again", **at_five | {"study_day": 41})
    visit("94-w5", **at_five)
    visit("94-w10", **at_ten, set_speed_m_per_s=3.3)
    visit("95-w5", **at_five, set_speed_m_per_s=9.0)
    visit("96-w5", **at_five, surface="runway")
    visit("97-w5", **at_five, mass_kg=62.9)
    visit("97-w10", **at_ten, mass_kg=57.8)


def _logs(rows: Rows) -> None:
    """One nought too many, hours for minutes, two rows exchanged, a form left out, answers by number, half a form."""
    well = dict.fromkeys(PLANNED, WELL)
    faults.log(rows, "FS-91", PLANNED | {4: (1270, 83)})
    faults.answered(rows, "FS-91", well)
    faults.log(rows, "FS-92", {week: (round(a / 60, 2), round(b / 60, 2)) for week, (a, b) in PLANNED.items()})
    faults.answered(rows, "FS-92", well)
    faults.log(rows, "FS-93", PLANNED | {2: (54, 156)})
    faults.answered(rows, "FS-93", well)
    faults.log(rows, "FS-94", PLANNED)
    faults.answered(rows, "FS-94", {week: points for week, points in well.items() if week != 3})
    faults.log(rows, "FS-95", PLANNED)
    faults.answered(rows, "FS-95", well | {4: (1, 1, 0, 1)})
    faults.log(rows, "FS-96", PLANNED)
    faults.answered(rows, "FS-96", well | {5: (8, 8, None, 8)})
