"""Metabolic power, the weeks of the change-over and their cautions: what was simulated against what is computed."""

from __future__ import annotations

import pandas as pd
import pytest

from demo_site_uploads.simulator import weeks
from demo_site_uploads.simulator.breathing import Bout, stride_time, true_cost
from demo_site_uploads.simulator.delivery import Session
from demo_site_uploads.simulator.runner import RUNNERS, gait_of
from demo_site_uploads.simulator.tables import Row
from pipelines.science.change_over.cautions import cautions
from pipelines.science.change_over.weeks import compute_transition
from pipelines.science.energy.bouts import compute_energy
from tests.demo.recovered import STUDY

CONDITIONS = ("cushioned", "thin_soled", "unshod")
SITES = ("brack", "corrie", "tarn")
PROCESSING = STUDY.processing


def _energy(bouts: list[Bout], spoil=None) -> pd.DataFrame:
    sessions = [{"session_id": b.session_id, "mass_kg": b.mass_kg, "set_speed_m_per_s": b.speed_m_per_s} for b in bouts]
    breaths = pd.DataFrame([row for b in bouts for row in b.rows()])
    if spoil:
        spoil(breaths)
    return compute_energy(breaths, pd.DataFrame(sessions).drop_duplicates(), PROCESSING)


@pytest.mark.parametrize("site", SITES)
def test_power_cost_and_exchange_ratio_come_back(site: str) -> None:
    bouts = [Session(r, "week_0", site).bout(c) for r in RUNNERS for c in CONDITIONS]
    found = _energy(bouts).set_index(["session_id", "condition"])
    errors = []
    for bout in bouts:
        row = found.loc[bout.session_id, bout.condition]
        assert row["reason_null"] is None or pd.isna(row["reason_null"])
        errors.append(row["metabolic_power_w_per_kg"] / bout.power_w_per_kg - 1)
        assert row["respiratory_exchange_ratio"] == pytest.approx(bout.ratio, abs=0.03)
        assert row["energy_cost_j_per_kg_m"] == pytest.approx(bout.cost_j_per_kg_m, rel=0.025)
    # samples scatter by 1.5 %; the plateau's two minutes hold 4 to 12 of them, and oxygen uptake has reached its end
    assert abs(pd.Series(errors).mean()) < 0.004
    assert pd.Series(errors).abs().max() < 0.025


def test_a_bout_without_a_plateau_above_ratio_one_or_with_the_sensor_off_has_no_power_but_a_reason() -> None:
    session = Session("FS-16", "week_0", "brack")
    kinds = {"cushioned": "not_steady", "thin_soled": "too_hard", "unshod": "sensor_off"}
    found = _energy([session.bout(c, kind) for c, kind in kinds.items()]).set_index("condition")
    assert found["metabolic_power_w_per_kg"].isna().all()
    assert found["energy_cost_j_per_kg_m"].isna().all()
    assert "not steady" in found.loc["cushioned", "reason_null"]
    assert "above 1" in found.loc["thin_soled", "reason_null"]
    assert "impossible carbon dioxide output" in found.loc["unshod", "reason_null"]


def test_a_negative_exchange_ratio_has_no_power_but_a_reason() -> None:
    def negative(breaths: pd.DataFrame) -> None:
        breaths["carbon_dioxide_output_ml_per_min"] *= -1

    found = _energy([Session("FS-01", "week_0", "brack").bout("cushioned")], negative)
    assert found["metabolic_power_w_per_kg"].isna().all()
    assert "impossible carbon dioxide output" in found.loc[0, "reason_null"]


@pytest.mark.parametrize("runner", RUNNERS)
def test_a_metre_costs_least_at_the_runner_s_own_stride(runner: str) -> None:
    cost = [true_cost(RUNNERS[runner], c, "week_0") for c in CONDITIONS]
    stride = [stride_time(gait_of(RUNNERS[runner], c, "week_0")) for c in CONDITIONS]
    assert cost == sorted(cost)
    assert stride == sorted(stride, reverse=True)
    assert 1.02 < cost[2] / cost[0] < 1.04
    # published: 14.5 (SD 3.5) W/kg at 3.5 m/s, Looney et al. 2023, which is 4.15 J/(kg.m)
    assert cost[0] == pytest.approx(4.15, rel=0.06)


def _diary(*runners: str) -> tuple[pd.DataFrame, pd.DataFrame]:
    def table(rows: list[Row]) -> pd.DataFrame:
        return pd.DataFrame(rows).astype({c: "Float64" for c in rows[0] if c.endswith(("_min", "_points"))})

    logs = table([row for r in runners for row in weeks.week_rows(r)])
    return logs, table([row for r in runners for row in weeks.symptom_rows(r)])


def test_minutes_and_shares_come_back_and_a_missing_week_is_null() -> None:
    found = compute_transition(*_diary(weeks.MISSING, "FS-01"), PROCESSING).set_index(["participant_id", "week"])
    assert len(found) == 20
    for (runner, week), row in found.iterrows():
        if (runner, week) == (weeks.MISSING, weeks.MISSING_WEEK):
            assert pd.isna(row["new_footwear_min"])
            assert "no running log" in row["reason_null"]
            assert "no questionnaire" in row["reason_null"]
            continue
        assert row["new_footwear_min"] == weeks.new_minutes(runner, week)
        assert row["new_footwear_fraction"] == pytest.approx(weeks.NEW_SHARE[week - 1], abs=0.005)
    after = found.loc[weeks.MISSING, weeks.MISSING_WEEK + 1]
    assert pd.isna(after["new_footwear_rise_fraction"])
    assert after["new_footwear_min"] > 0


def test_cautions_point_at_the_steep_week_and_the_runner_with_symptoms_and_at_nobody_s_planned_rise() -> None:
    runners = (weeks.STEEP, weeks.SUBSTANTIAL, "FS-01", "FS-02")
    found = cautions(compute_transition(*_diary(*runners), PROCESSING), PROCESSING)
    rises = {(one.participant_id, one.week) for one in found if one.caution in ("minutes_rise", "share_rise")}
    assert rises == {(weeks.STEEP, weeks.STEEP_WEEK)}
    substantial = {(one.participant_id, one.week) for one in found if one.caution == "substantial_problem"}
    assert substantial == {(weeks.SUBSTANTIAL, week) for week in weeks.SUBSTANTIAL_WEEKS}
