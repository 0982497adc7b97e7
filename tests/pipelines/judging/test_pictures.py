"""What is kept of a signal for the drawing on a fix sheet."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.evidence import MOST_POINTS, Kind, Role
from checks.findings import Finding
from checks.showing import HALF_WINDOW_S, line, over_time, picture
from pipelines.judging.pictures import pictures_of
from pipelines.science.workspace import Workspace
from schemas.processing import Processing
from schemas.quality import FINDING_PICTURES
from schemas.trial import Signal, Trial
from tests.builders import a_trial
from tests.finding_builders import a_finding


def of_signal(signal: str | None, moment_s: float | None = None, **changes: Any) -> Finding:
    return a_finding(signal=signal, moment_s=moment_s, **changes)


def traces_of(findings: list[Finding], trial: Trial) -> list[dict[str, Any]]:
    """The rows of lines; those of contacts are added to every drawing over time."""
    rows = pictures_of(findings, Workspace(trial, Processing()))
    return [row for row in rows if row["part_role"] == "line"]


def values(rows: list[dict[str, Any]]) -> list[float | None]:
    return [row["upwards_value"] for row in rows]


def test_the_rows_have_the_columns_of_the_table_in_its_order() -> None:
    (row, *_) = traces_of([of_signal("force:1:vertical", 1.0)], a_trial())
    assert tuple(row) == FINDING_PICTURES.column_names


@pytest.mark.parametrize(
    ("signal", "unit"),
    [
        ("force:1:vertical", "N"),
        ("force:all:fore_aft", "N"),
        ("force:1:sideways", "N"),
        ("marker:calcaneus_left:up", "m"),
        ("marker:sacrum:forward", "m"),
        ("marker:calcaneus_right:right", "m"),
        ("distance:calcaneus_left:lateral_malleolus_left", "m"),
        ("cop:1:forward", "m"),
        ("cop:1:right", "m"),
    ],
)
def test_every_form_of_signal_gives_a_window_around_the_moment(signal: str, unit: str) -> None:
    rows = traces_of([of_signal(signal, 1.5)], a_trial())
    times = np.array([row["across_value"] for row in rows])
    assert {row["upwards_unit"] for row in rows} == {unit}
    assert np.all(np.diff(times) > 0)
    assert abs(times - 1.5).max() <= HALF_WINDOW_S + 0.006
    assert times[-1] - times[0] > 1.9 * HALF_WINDOW_S
    assert any(value is not None for value in values(rows))


def test_a_still_pair_of_markers_is_drawn_at_its_true_distance() -> None:
    trial = a_trial()
    still = {"calcaneus_left": np.zeros((400, 3)), "lateral_malleolus_left": np.tile([0.03, 0.04, 0.0], (400, 1))}
    rows = traces_of(
        [of_signal("distance:calcaneus_left:lateral_malleolus_left")], replace(trial, markers=still, marker_rate_hz=100)
    )
    assert values(rows) == pytest.approx([0.05] * 400)
    assert rows[-1]["across_value"] == pytest.approx(3.99)


def test_the_centre_of_pressure_is_null_while_the_plate_is_unloaded() -> None:
    trial = a_trial(surface="runway", footfalls=2)
    rows = traces_of([of_signal("cop:1:forward", 0.2)], trial)
    before = [row["upwards_value"] for row in rows if row["across_value"] < 0.09]
    during = [row["upwards_value"] for row in rows if 0.15 < row["across_value"] < 0.30]
    assert before
    assert set(before) == {None}
    assert None not in during
    low, high = trial.plates[0].corners[:, 0].min(), trial.plates[0].corners[:, 0].max()
    assert all(low < value < high for value in during)


@pytest.mark.parametrize(
    "signal",
    [
        "",
        "force",
        "force:9:vertical",
        "force:1:down",
        "force:all",
        "cop:1:up",
        "cop:all:forward",
        "marker:nobody:up",
        "marker:sacrum:north",
        "distance:sacrum:nobody",
        "temperature:1:air",
        "a:b:c:d",
        "channel",
        "channel:EMG 9",
        None,
    ],
)
def test_an_unknown_signal_gives_no_rows(signal: str | None) -> None:
    assert traces_of([of_signal(signal, 1.0)], a_trial()) == []


def test_a_channel_is_drawn_on_the_trials_clock_and_only_during_the_trial() -> None:
    second = Signal("muscle", "soleus", "left", "uV", 1000.0, np.arange(9000.0), start_s=-0.5, label="EMG 2: calf")
    trial = a_trial(signals=(second,))
    rows = traces_of([of_signal("channel:EMG 2: calf", 1.5)], trial)
    assert {row["upwards_unit"] for row in rows} == {"uV"}
    assert all(row["upwards_value"] == pytest.approx(1000 * row["across_value"] + 500) for row in rows)
    assert abs(np.array([row["across_value"] for row in rows]) - 1.5).max() <= HALF_WINDOW_S + 0.002
    whole = traces_of([of_signal("channel:EMG 2: calf")], trial)
    assert whole[0]["across_value"] == pytest.approx(0.0, abs=0.05)
    assert trial.duration_s - 0.05 < whole[-1]["across_value"] <= trial.duration_s


def test_a_trial_without_plates_or_markers_gives_no_rows() -> None:
    bare = replace(a_trial(), plates=(), analog_rate_hz=None, markers={}, marker_rate_hz=0.0)
    asked = ["force:all:vertical", "cop:1:forward", "marker:sacrum:up"]
    assert traces_of([of_signal(s, 1.0, finding_id=s) for s in asked], bare) == []


@pytest.mark.parametrize("moment_s", [None, float("nan"), -3.0, 1e9])
def test_without_a_moment_inside_the_recording_the_whole_trial_is_drawn(moment_s: float | None) -> None:
    trial = a_trial()
    rows = traces_of([of_signal("force:1:vertical", moment_s)], trial)
    assert rows[0]["across_value"] < 0.05
    assert rows[-1]["across_value"] > trial.duration_s - 0.05


def test_a_finding_about_another_trial_is_left_alone() -> None:
    assert traces_of([of_signal("force:1:vertical", 1.0, trial_id="T9")], a_trial()) == []


def test_a_finding_that_comes_twice_is_drawn_once_so_that_keys_stay_unique() -> None:
    once = traces_of([of_signal("force:1:vertical", 1.0)], a_trial())
    twice = traces_of([of_signal("force:1:vertical", 1.0)] * 2, a_trial())
    assert twice == once


def test_a_single_sample_spike_and_a_single_missing_sample_survive_decimation() -> None:
    trial = a_trial(footfalls=30)
    path = trial.markers["sacrum"].copy()
    path[777, 1] = 9.0
    path[1234] = np.nan
    spiky = replace(trial, markers=trial.markers | {"sacrum": path})
    rows = traces_of([of_signal("marker:sacrum:up")], spiky)
    assert len(rows) <= MOST_POINTS < len(path)
    assert max(v for v in values(rows) if v is not None) == 9.0
    assert [row["across_value"] for row in rows if row["upwards_value"] is None] == [pytest.approx(1234 / 200)]


@given(st.lists(st.floats(-1e6, 1e6) | st.just(float("nan")), min_size=1, max_size=3000), st.none() | st.floats(-1, 20))
def test_decimation_keeps_extremes_and_never_exceeds_its_size(signal: list[float], moment_s: float | None) -> None:
    path = np.repeat(np.array(signal)[:, None], 3, axis=1)
    trial = replace(BARE, markers={"sacrum": path}, marker_rate_hz=200.0)
    rows = traces_of([of_signal("marker:sacrum:up", moment_s)], trial)
    assert 1 <= len(rows) <= MOST_POINTS
    times = [row["across_value"] for row in rows]
    assert times == sorted(set(times))
    drawn = [v for v in values(rows) if v is not None]
    assert all(
        row["upwards_value"] is None or row["upwards_value"] == signal[round(row["across_value"] * 200)] for row in rows
    )
    if moment_s is None and drawn:
        assert (min(drawn), max(drawn)) == (np.nanmin(signal), np.nanmax(signal))


BARE = replace(a_trial(footfalls=2), kind="standing")


@pytest.mark.parametrize(
    ("signal", "said"),
    [
        ("force:1:vertical", "Vertical force, plate 1"),
        ("force:all:fore_aft", "Fore-aft force, all plates together"),
        ("marker:calcaneus_left:up", "calcaneus left: height"),
        ("cop:1:right", "Centre of pressure, plate 1, to the runner's right"),
        ("distance:sacrum:calcaneus_left", "Distance between sacrum and calcaneus left"),
    ],
)
def test_a_named_signal_is_said_in_words(signal: str, said: str) -> None:
    assert {row["panel_title"] for row in traces_of([of_signal(signal, 1.0)], a_trial())} == {said}


def test_a_picture_of_a_check_is_kept_as_it_is_with_the_contacts_beside_it() -> None:
    trial = a_trial()
    work = Workspace(trial, Processing())
    made = picture(over_time("A title", "N", line("a", np.arange(40.0), 10.0), high=20.0))
    rows = pictures_of([of_signal(None, shows=made)], work)
    own = {role: [(r["across_value"], r["upwards_value"]) for r in rows if r["part_role"] == role] for role in Role}
    assert own[Role.LINE] == [(i / 10, float(i)) for i in range(40)]
    assert own[Role.EXPECTED] == [(None, None), (None, 20.0)]
    assert len(own[Role.CONTACT]) == 2 * len(work.footfalls)
    assert {r["panel_kind"] for r in rows} == {Kind.OVER_TIME}
