"""Checks of what breathing gas says: faults just inside and just outside each limit."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from checks.context import Context
from tests.builders import a_study
from tests.checks.received_builders import SCOPES, a_consent, a_delivery
from tests.checks.running_checks import Case, of_covered, of_delivery, run, status
from tests.checks.study_builders import CARBON, OXYGEN, USUAL_OXYGEN, Rows, a_bout, a_session, changed, with_gas

PLACE = "session_id S1, condition shod, bout 1"


def gas(rows: Rows, **changes: Any) -> Context:
    return of_delivery(with_gas(rows, **changes))


def clean() -> Context:
    return gas(a_bout() + a_bout(condition="unshod"))


def unsteady(share: float) -> Rows:
    """Oxygen uptake falls to ``share`` in the last minute."""
    return changed(a_bout(), lambda row: {OXYGEN: row[OXYGEN] * (share if row["elapsed_s"] > 300 else 1)})


def sessions_at(factor: float, count: int = 3) -> Context:
    names = [f"S{n}" for n in range(1, count + 1)]
    rows = [row for name in names for row in a_bout(name, oxygen=factor * USUAL_OXYGEN)]
    return gas(rows, sent_sessions=[a_session(name) for name in names])


PLANTED = {
    "bouts_are_long_enough_for_a_plateau": Case(lambda: gas(a_bout(last_s=240)), PLACE),
    "oxygen_uptake_is_steady_at_the_end_of_a_bout": Case(lambda: gas(unsteady(0.8)), PLACE),
    "exchange_ratio_is_one_that_a_body_can_have": Case(lambda: gas(a_bout(ratio=0.5)), PLACE),
    "effort_stays_where_oxygen_tells_the_cost": Case(lambda: gas(a_bout(ratio=1.08)), PLACE),
    "oxygen_uptake_is_in_the_stated_unit": Case(lambda: gas(a_bout(oxygen=2.15)), PLACE),
    "running_cost_is_that_of_level_running": Case(lambda: gas(a_bout(oxygen=1.6 * USUAL_OXYGEN)), PLACE),
    "gas_volumes_are_dry_and_at_standard_temperature": Case(lambda: sessions_at(1.21), "all bouts"),
    "heart_rate_is_one_of_running": Case(lambda: gas(a_bout(heart=60)), PLACE),
}
CLEAN = {
    **dict.fromkeys(PLANTED, clean),
    "gas_volumes_are_dry_and_at_standard_temperature": lambda: sessions_at(1.0),
}


@pytest.mark.parametrize("name", PLANTED)
def test_no_clean_bout_is_found_by_any_check_of_gas(name: str) -> None:
    assert status(name, clean()) in ("pass", "skipped")


@pytest.mark.parametrize(("last_s", "expected"), [(300, "pass"), (285, "found")])
def test_a_bout_lasts_as_long_as_warm_up_and_plateau(last_s: float, expected: str) -> None:
    assert status("bouts_are_long_enough_for_a_plateau", gas(a_bout(last_s=last_s))) == expected


@pytest.mark.parametrize(("share", "expected"), [(0.93, "pass"), (0.88, "found"), (1.08, "pass"), (1.14, "found")])
def test_oxygen_uptake_may_change_by_a_tenth(share: float, expected: str) -> None:
    assert status("oxygen_uptake_is_steady_at_the_end_of_a_bout", gas(unsteady(share))) == expected


def test_steadiness_is_that_of_the_study_file() -> None:
    settings = {"energy": {"plateau_change_limit_fraction": 0.3}}
    context = of_delivery(with_gas(unsteady(0.8)), a_study(processing=settings))
    assert status("oxygen_uptake_is_steady_at_the_end_of_a_bout", context) == "pass"


@pytest.mark.parametrize(
    ("ratio", "impossible", "hard"),
    [
        (0.64, "found", "pass"),
        (0.66, "pass", "pass"),
        (0.99, "pass", "pass"),
        (1.01, "pass", "found"),
        (1.29, "pass", "found"),
        (1.32, "found", "pass"),
    ],
)
def test_an_exchange_ratio_is_told_once_as_hard_or_as_impossible(ratio: float, impossible: str, hard: str) -> None:
    context = gas(a_bout(ratio=ratio))
    assert status("exchange_ratio_is_one_that_a_body_can_have", context) == impossible
    assert status("effort_stays_where_oxygen_tells_the_cost", context) == hard


def test_a_sensor_that_is_off_has_no_ratio() -> None:
    rows = changed(a_bout(), lambda row: {CARBON: 0.0})
    assert status("exchange_ratio_is_one_that_a_body_can_have", gas(rows)) == "skipped"


@pytest.mark.parametrize(
    ("oxygen", "hint"),
    [(2.15, "looks like litres per minute"), (35.2, "looks like mL/(kg.min)"), (61 * 9.5, "a body of 61.0 kg.")],
)
def test_a_wrong_unit_is_guessed_by_the_number_itself(oxygen: float, hint: str) -> None:
    (finding,) = run("oxygen_uptake_is_in_the_stated_unit", gas(a_bout(oxygen=oxygen))).findings
    assert hint in finding.seen


@pytest.mark.parametrize(("per_kg", "expected"), [(9.5, "found"), (10.6, "pass"), (93, "pass"), (97, "found")])
def test_oxygen_uptake_for_each_kilogram_has_limits(per_kg: float, expected: str) -> None:
    assert status("oxygen_uptake_is_in_the_stated_unit", gas(a_bout(oxygen=61 * per_kg))) == expected


@pytest.mark.parametrize(("cost", "expected"), [(2.9, "found"), (3.1, "pass"), (5.8, "pass"), (6.2, "found")])
def test_running_cost_has_limits(cost: float, expected: str) -> None:
    oxygen = cost * 3.0 * 61.0 * 60 / 21.0
    assert status("running_cost_is_that_of_level_running", gas(a_bout(oxygen=oxygen))) == expected


def test_the_worked_example_costs_what_it_says() -> None:
    # 16.89 VO2 + 4.84 VCO2 (W, mL/s; Peronnet & Massicotte 1991, seen second-hand) of 2.80 and 2.52 L/min, 70 kg and
    # 3.3333 m/s is 4.2492 J/(kg.m); the middle of the energy for a litre of oxygen, 21 kJ, is 1.2 % less than that at
    # the example's ratio of 0.90
    session = a_session(mass_kg=70.0, set_speed_m_per_s=10 / 3)
    received = with_gas(a_bout(oxygen=2800.0, ratio=0.9), sent_sessions=[session])
    limits = {"running_cost_is_that_of_level_running": {"highest_j": 4.15}}
    (finding,) = run("running_cost_is_that_of_level_running", of_delivery(received, a_study(limits=limits))).findings
    assert "costs 4.20 J/(kg.m) at 3.33 m/s and 70.0 kg" in finding.seen


@pytest.mark.parametrize(("factor", "expected"), [(0.89, "pass"), (0.84, "found"), (1.13, "pass"), (1.17, "found")])
def test_only_a_whole_delivery_that_is_off_is_suspected(factor: float, expected: str) -> None:
    assert status("gas_volumes_are_dry_and_at_standard_temperature", sessions_at(factor)) == expected


def test_two_runners_are_too_few_for_a_suspicion() -> None:
    assert status("gas_volumes_are_dry_and_at_standard_temperature", sessions_at(1.3, count=2)) == "skipped"


@pytest.mark.parametrize(("heart", "expected"), [(88, "found"), (92, "pass"), (213, "pass"), (218, "found")])
def test_heart_rate_has_limits(heart: float, expected: str) -> None:
    assert status("heart_rate_is_one_of_running", gas(a_bout(heart=heart))) == expected


def test_heart_rate_need_not_be_recorded() -> None:
    assert status("heart_rate_is_one_of_running", gas(a_bout(heart=None))) == "skipped"


@pytest.mark.parametrize("name", PLANTED)
def test_nothing_is_told_of_a_runner_who_did_not_agree_to_metabolic_data(name: str) -> None:
    received = PLANTED[name].context().delivery
    assert received is not None
    consents = a_delivery(sent_consents=[a_consent(scope) for scope in SCOPES]).tables["sent_consents"]
    shut = of_covered(replace(received, tables={**received.tables, "sent_consents": consents}))
    assert status(name, shut) == "skipped"


@pytest.mark.parametrize(
    "spoil",
    [
        {OXYGEN: None},
        {OXYGEN: None, CARBON: None},
        {"elapsed_s": None},
        {"bout": None},
        {"condition": None},
        {"elapsed_s": 0.0},
    ],
)
@pytest.mark.filterwarnings("error")
def test_cells_that_are_not_known_break_no_check_of_gas(spoil: dict) -> None:
    context = gas(changed(a_bout(), lambda row: spoil))
    assert {status(name, context) for name in PLANTED} <= {"pass", "skipped", "found"}


@pytest.mark.parametrize("missing", [{"mass_kg": None}, {"set_speed_m_per_s": None}])
def test_without_mass_or_speed_there_is_no_cost(missing: dict) -> None:
    context = gas(a_bout(oxygen=2 * USUAL_OXYGEN), sent_sessions=[a_session(**missing)])
    assert status("running_cost_is_that_of_level_running", context) == "skipped"
