"""What contrasts start from: footfalls averaged to trials, trials to runners; the words that make an outcome's name."""

from __future__ import annotations

import math

import pytest

from tests.pipelines.pages.small_warehouse import Rows
from tests.pipelines.pool.means import PLACE, SPEED, means_of, offsets_of


def trial(name: str, condition: str, **other: object) -> dict[str, object]:
    return {"trial_id": name, "session_id": "S1", "condition": condition, **PLACE, **SPEED, **other}


def footfalls(name: str, *values: float | None) -> list[dict[str, object]]:
    return [{"trial_id": name, "footfall_number": n, "contact_time_s": value} for n, value in enumerate(values)]


def test_footfalls_are_averaged_to_trials_before_trials_to_runners() -> None:
    rows = {
        "trials": [trial("T1", "unshod"), trial("T2", "unshod"), trial("T3", "cushioned")],
        "footfalls": [*footfalls("T1", *[1.0] * 98), *footfalls("T2", 3.0, 3.0), *footfalls("T3", 5.0)],
    }
    found = means_of(rows).set_index("condition")
    assert found["mean_value"].to_dict() == {"unshod": 2.0, "cushioned": 5.0}  # not the 1.04 of all footfalls
    assert found["trial_count"].to_dict() == {"unshod": 2, "cushioned": 1}


def test_trials_are_weighed_by_their_uncertainty_where_that_is_asked_and_all_of_them_state_one() -> None:
    def stated(name: str, value: float | None) -> dict[str, object]:
        outcome = {"outcome": "contact_time_s", "outcome_unit": "s", "standard_uncertainty_value": value}
        return {"trial_id": name, **outcome}

    rows: Rows = {
        "trials": [trial("T1", "unshod"), trial("T2", "unshod")],
        "footfalls": [*footfalls("T1", 1.0), *footfalls("T2", 3.0)],
        "outcome_uncertainties": [stated("T1", 0.1), stated("T2", 0.2)],
    }
    # 1 weighs 1 / 0.1^2 = 100, 3 weighs 1 / 0.2^2 = 25
    assert means_of(rows, "uncertainty")["mean_value"].tolist() == [pytest.approx((100 * 1 + 25 * 3) / 125)]
    assert means_of(rows)["mean_value"].tolist() == [2.0]
    for missing in (stated("T2", None), stated("T2", 0.0), stated("T3", 0.2)):
        less = {**rows, "outcome_uncertainties": [stated("T1", 0.1), missing]}
        assert means_of(less, "uncertainty")["mean_value"].tolist() == [2.0]


def test_sites_and_visits_of_one_runner_stay_apart() -> None:
    rows = {
        "trials": [trial("T1", "shod"), trial("T2", "shod", site="corrie"), trial("T3", "shod", visit="week_5")],
        "footfalls": [*footfalls("T1", 1.0), *footfalls("T2", 2.0), *footfalls("T3", 3.0)],
    }
    found = means_of(rows)
    assert sorted(zip(found["site"], found["visit"], found["mean_value"], strict=True)) == [
        ("brack", "week_0", 1.0),
        ("brack", "week_5", 3.0),
        ("corrie", "week_0", 2.0),
    ]


def test_set_speeds_of_one_runner_stay_apart_unless_they_are_one_speed_written_in_two_ways() -> None:
    speeds = {"T1": 2.5, "T2": 4.5, "T3": 3.33, "T4": 12 / 3.6}
    rows = {
        "trials": [trial(name, "shod", set_speed_m_per_s=speed) for name, speed in speeds.items()],
        "footfalls": [row for n, name in enumerate(speeds) for row in footfalls(name, float(n))],
    }
    found = means_of(rows)
    told = sorted(zip(found["set_speed_m_per_s"], found["mean_value"], found["trial_count"], strict=True))
    assert told == [(2.5, 0.0, 1), (3.3, 2.5, 2), (4.5, 1.0, 1)]


def test_trials_with_events_by_different_methods_stay_apart() -> None:
    found = means_of(
        {
            "trials": [trial("T1", "shod"), trial("T2", "shod")],
            "footfalls": [
                {**row, "event_method": method}
                for name, method, value in (("T1", "force", 1.0), ("T2", "markers", 3.0))
                for row in footfalls(name, value)
            ],
        }
    )
    assert dict(zip(found["event_method"], found["mean_value"], strict=True)) == {"force": 1.0, "markers": 3.0}


def test_offsets_of_a_method_are_those_of_its_site_and_else_of_the_others() -> None:
    """Two trials at brack, 4 ms and 6 ms late in the mean; tarn has no force and takes what brack shows."""
    late = {"T1": (0.003, 0.005), "T2": (0.005, 0.007)}
    rows: Rows = {
        "sites": [{"site": "brack"}, {"site": "tarn"}],
        "trials": [trial(name, "shod", participant_id=f"R{name}") for name in late],
        "footfalls": [
            {"trial_id": name, "footfall_number": n, "event_method": "force"} for name in late for n in range(2)
        ],
        "footfall_events": [
            {"trial_id": name, "footfall_number": n, "event_method": "markers", "contact_difference_s": value}
            for name, values in late.items()
            for n, value in enumerate(values)
        ],
    }
    found = offsets_of(rows).set_index("site")
    assert found["event"].tolist() == ["contact", "contact"]
    assert found["bias_s"].tolist() == pytest.approx([0.005, 0.005])
    assert found["sd_s"].tolist() == pytest.approx([math.sqrt(2e-6 + 2e-6)] * 2)
    assert found["offset_basis"].to_dict() == {"brack": "own", "tarn": "other_sites"}
    assert found[["footfall_count", "trial_count", "runner_count"]].loc["brack"].tolist() == [4, 2, 2]


def test_the_order_in_which_rows_came_changes_no_digit() -> None:
    """0.1 + 0.2 + 0.3 is another float than 0.3 + 0.2 + 0.1: the pool of the same data must be the same."""
    late = (0.1, 0.2, 0.3, 1e-9, 0.7, 1 / 3)
    found = []
    for order in (late, late[::-1], sorted(late)):
        rows: Rows = {
            "sites": [{"site": "brack"}, {"site": "tarn"}],
            "trials": [trial(f"T{n}", "shod", participant_id="R1") for n in range(3)],
            "footfalls": [
                {"trial_id": f"T{t}", "footfall_number": n, "event_method": "force", "contact_time_s": value}
                for t in sorted(range(3), reverse=order[0] > order[-1])
                for n, value in enumerate(order)
            ],
            "footfall_events": [
                {
                    "trial_id": f"T{t}",
                    "footfall_number": n,
                    "event_method": "markers",
                    "contact_difference_s": value + t,
                }
                for t in sorted(range(3), reverse=order[0] > order[-1])
                for n, value in enumerate(order)
            ],
        }
        offsets = offsets_of(rows)[["bias_s", "sd_s"]].to_numpy().tolist()
        found.append((means_of(rows)["mean_value"].tolist(), offsets))
    assert found[0] == found[1] == found[2]


def test_values_that_are_missing_or_not_finite_are_left_out() -> None:
    rows = {"footfalls": [*footfalls("T1", 1.0, None, math.nan, math.inf, 3.0)]}
    assert means_of(rows)["mean_value"].tolist() == [2.0]
    assert means_of({"footfalls": footfalls("T1", None, math.nan)}).empty


def test_muscle_and_side_stand_before_the_name_and_bouts_count_as_trials() -> None:
    own = {"trial_id": "T1", "footfall_number": 1, "side": "left", "burst": "stance"}
    rows = {
        "muscle_bursts": [
            {**own, "muscle": "soleus", "onset_before_contact_s": 0.1},
            {**own, "muscle": "tibialis_anterior", "onset_before_contact_s": 0.2, "offset_after_contact_s": 0.3},
        ],
        "energy_bouts": [
            {"session_id": "S1", "condition": "shod", "bout": bout, **SPEED, "metabolic_power_w_per_kg": value}
            for bout, value in ((1, 10.0), (2, 14.0))
        ],
    }
    found = means_of(rows)
    assert dict(zip(found["outcome"], found["mean_value"], strict=True)) == pytest.approx(
        {
            "soleus/left/stance/onset_before_contact_s": 0.1,
            "tibialis_anterior/left/stance/onset_before_contact_s": 0.2,
            "tibialis_anterior/left/stance/offset_after_contact_s": 0.3,
            "metabolic_power_w_per_kg": 12.0,
        }
    )
