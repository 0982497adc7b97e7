from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.events.agreement import event_agreement, limits_of_agreement
from pipelines.science.events.from_force import Contact
from pipelines.science.signals.pairing import paired
from schemas import fields as f
from schemas.convert.to_pandera import pandera_schema
from schemas.outcomes_signals import EVENT_AGREEMENT, FOOTFALL_EVENTS
from schemas.processing import Processing
from tests.as_frames import compute_footfalls, contacts_by_method, footfall_events
from tests.builders import a_trial
from tests.tries import tries

PROVENANCE = {"delivery_id": "brack-001", "raw_sha256": "0" * 64, "code_version": "1", "study_version": "1"}


def contacts(side: str, starts: list[float], length: float = 0.25) -> list[tuple[str, Contact]]:
    return [(side, Contact(s, s + length, 0, 1)) for s in starts]


# ---- pairs


@tries(50)
@given(
    st.lists(st.floats(0, 20), max_size=15, unique=True).map(sorted),
    st.lists(st.floats(0, 20), max_size=15, unique=True).map(sorted),
)
def test_no_event_is_in_two_pairs_and_no_pair_is_far_apart(one: list[float], other: list[float]) -> None:
    places = paired(one, other, 0.1)
    assert len({int(i) for i, _ in places}) == len({int(j) for _, j in places}) == len(places)
    assert all(abs(one[i] - other[j]) <= 0.1 for i, j in places)
    assert [tuple(p[::-1]) for p in places] == [tuple(p) for p in paired(other, one, 0.1)] or _tied(one, other)


def _tied(one: list[float], other: list[float]) -> bool:
    gaps = np.abs(np.subtract.outer(one, other)).ravel()
    return len(np.unique(gaps)) < len(gaps)


def test_a_doubled_event_stays_without_a_partner_and_the_nearest_wins() -> None:
    assert paired([1.0, 2.0, 3.0], [1.01, 2.0, 2.06, 3.3], 0.1).tolist() == [[0, 0], [1, 1]]
    assert paired([], [1.0], 0.1).tolist() == paired([1.0], [], 0.1).tolist() == []
    assert paired([1.0, 1.04], [1.03], 0.1).tolist() == [[1, 0]]


# ---- limits


def test_bias_needs_one_pair_and_limits_need_two() -> None:
    assert limits_of_agreement([]).bias is None
    one = limits_of_agreement([0.01])
    assert (one.count, one.bias, one.lower, one.upper) == (1, 0.01, None, None)
    two = limits_of_agreement([0.01, 0.03, np.nan])
    assert two.count == 2
    assert two.bias == pytest.approx(0.02)
    assert two.upper == pytest.approx(0.02 + 1.96 * 0.01 * np.sqrt(2))


@tries(10)
@given(st.floats(-0.05, 0.05), st.floats(0.001, 0.02), st.integers(0, 2**32 - 1))
def test_about_95_in_a_hundred_differences_lie_within_the_limits(bias: float, sd: float, seed: int) -> None:
    values = np.random.default_rng(seed).normal(bias, sd, 2000)
    found = limits_of_agreement(values)
    assert found.lower is not None
    assert found.upper is not None
    inside = np.mean((values > found.lower) & (values < found.upper))
    assert 0.93 < inside < 0.97


# ---- rows


def test_a_method_that_is_late_is_told_with_its_sign_per_side_and_event() -> None:
    starts = [1.0, 1.7, 2.4]
    rows = event_agreement(
        "T1",
        {
            "force": contacts("left", starts) + contacts("right", [1.35, 2.05]),
            "sensor": contacts("left", [s + 0.01 for s in starts], 0.22),
        },
    )
    assert [(r["side"], r["event"]) for r in rows] == [("left", "contact"), ("left", "toe_off")]
    assert rows[0]["bias_s"] == pytest.approx(0.01)
    assert rows[1]["bias_s"] == pytest.approx(-0.02)
    assert rows[0] | {"bias_s": 0, "lower_limit_s": 0, "upper_limit_s": 0} == {
        "trial_id": "T1",
        "side": "left",
        "event": "contact",
        "event_method": "sensor",
        "reference_method": "force",
        "pair_count": 3,
        "judged_count": 3,
        "reference_count": 3,
        "bias_s": 0,
        "lower_limit_s": 0,
        "upper_limit_s": 0,
        "clock_basis": None,
    }


def test_methods_that_share_no_event_are_told_with_no_pairs() -> None:
    rows = event_agreement("T1", {"force": contacts("left", [1.0]), "markers": contacts("left", [3.0])})
    assert [r["pair_count"] for r in rows] == [0, 0]
    assert all(r["bias_s"] is None for r in rows)


def test_the_basis_of_the_clock_is_written_only_where_sensors_are_compared() -> None:
    both = {m: contacts("left", [1.0, 1.7]) for m in ("force", "sensor", "markers")}
    rows = event_agreement("T1", both, clock_basis="sensor_against_force")
    told = {(r["event_method"], r["reference_method"]): r["clock_basis"] for r in rows}
    assert told == {
        ("sensor", "force"): "sensor_against_force",
        ("markers", "force"): None,
        ("markers", "sensor"): "sensor_against_force",
    }


def test_each_footfall_gets_its_events_by_the_other_methods() -> None:
    trial = a_trial(strike_deg=0.0)
    footfalls = compute_footfalls(trial, Processing(), None)
    found = contacts_by_method(trial, Processing())
    late = [(side, Contact(c.start_s + 0.02, c.end_s - 0.01, 0, 1)) for side, c in found["force"][:-1]]
    rows = footfall_events(footfalls, {"force": found["force"], "sensor": late})
    assert [r["footfall_number"] for r in rows] == list(range(1, 8))
    assert {r["event_method"] for r in rows} == {"sensor"}
    assert [r["side"] for r in rows] == footfalls["side"].tolist()[:7]
    assert [r["contact_difference_s"] for r in rows] == pytest.approx([0.02] * 7)
    assert [r["toe_off_difference_s"] for r in rows] == pytest.approx([-0.01] * 7)


def test_the_rows_keep_their_definitions() -> None:
    trial = a_trial()
    by_method = contacts_by_method(trial, Processing())
    assert set(by_method) == {"force", "markers"}
    agreement = event_agreement("T1", by_method)
    single = footfall_events(compute_footfalls(trial, Processing(), None), by_method)
    for table, rows in ((EVENT_AGREEMENT, agreement), (FOOTFALL_EVENTS, single)):
        frame = pd.DataFrame(rows).assign(**PROVENANCE)
        assert list(frame) == list(table.column_names)
        assert [c.name for c in f.PROVENANCE] == list(frame)[-4:]
        pandera_schema(table, ordered=True).validate(frame.astype(_types(table)))


def _types(table: object) -> dict[str, str]:
    from schemas.convert.to_arrow import PANDAS_TYPES

    return {field.name: PANDAS_TYPES[field.kind] for field in table.fields}  # type: ignore[attr-defined]
