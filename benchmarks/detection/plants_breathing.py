"""Faults in the tables of breathing gas and of the weekly log."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from benchmarks.detection.plants import Sending
from benchmarks.detection.plants_study import on_rows, plant_of
from benchmarks.detection.sending import Sent, clean
from benchmarks.detection.specimens import Case
from demo_site_uploads.simulator import faults_study as faults
from demo_site_uploads.simulator.tables import Row, Rows

Change = Callable[[Rows, float, np.random.Generator], None]


def _gas(change: Callable[[list[Row], float], list[Row]]) -> Sending:
    """A plant in the rows of the first bout."""

    def send(rows: Rows, size: float, chance: np.random.Generator) -> None:
        key = (rows.breaths[0]["session_id"], rows.breaths[0]["condition"])
        own = [row for row in rows.breaths if (row["session_id"], row["condition"]) == key]
        rest = [row for row in rows.breaths if (row["session_id"], row["condition"]) != key]
        rows.breaths = change(own, size) + rest

    return on_rows(send)


def _all_gas(rows: Rows, size: float, chance: np.random.Generator) -> None:
    factor = (1 + size / 100) ** float(chance.choice([-1, 1]))
    rows.breaths = faults.scaled(rows.breaths, factor, factor)


def _bout_fault(name: str) -> Sending:
    """A plant that the simulator of breathing gas makes: a whole bout that goes wrong."""

    def send(case: Case, size: float, chance: np.random.Generator) -> Sent:
        sent = clean(case)
        bouts = sent.delivery.bouts
        return Sent(replace(sent.delivery, bouts=(replace(bouts[0], fault=name), *bouts[1:])))

    return send


def _log(change: Callable[[list[Row], np.random.Generator], list[Row]]) -> Sending:
    def send(rows: Rows, size: float, chance: np.random.Generator) -> None:
        rows.weeks = change(rows.weeks, chance)

    return on_rows(send)


def _week_lost(weeks: list[Row], chance: np.random.Generator) -> list[Row]:
    gone = int(chance.integers(2, 10))
    return [row for row in weeks if row["week"] != gone]


def _nought_more(rows: Rows, size: float, chance: np.random.Generator) -> None:
    week = int(chance.integers(1, 11))
    for row in rows.weeks:
        if row["week"] == week:
            row["running_min"] = min(3000, row["running_min"] * size)


def _in_hours(weeks: list[Row], chance: np.random.Generator) -> list[Row]:
    return [row | {"running_min": round(row["running_min"] / 60, 2)} for row in weeks]


def _minutes_exchanged(weeks: list[Row], chance: np.random.Generator) -> list[Row]:
    week = int(chance.choice([2, 9]))  # in the middle both have nearly the same minutes
    other = {"cushioned": "thin_soled", "thin_soled": "cushioned"}
    return [row | {"condition": other[row["condition"]]} if row["week"] == week else row for row in weeks]


def _form_lost(rows: Rows, size: float, chance: np.random.Generator) -> None:
    gone = int(chance.integers(1, 11))
    rows.symptoms = [row for row in rows.symptoms if row["week"] != gone]


def _answered(points: tuple[int | None, ...]) -> Sending:
    def send(rows: Rows, size: float, chance: np.random.Generator) -> None:
        row = rows.symptoms[int(chance.integers(len(rows.symptoms)))]
        row |= {f"question_{n}_points": value for n, value in enumerate(points, 1)}

    return on_rows(send)


def _copied_bout(rows: Rows, size: float, chance: np.random.Generator) -> None:
    session = rows.breaths[0]["session_id"]
    of = {
        c: [r for r in rows.breaths if (r["session_id"], r["condition"]) == (session, c)]
        for c in ("cushioned", "unshod")
    }
    kept = [row for row in rows.breaths if (row["session_id"], row["condition"]) != (session, "unshod")]
    rows.breaths = kept + faults.with_cells(of["cushioned"], condition="unshod")


def _third_bout(rows: list[Row], size: float) -> list[Row]:
    return rows + faults.with_cells(rows, bout=3, heart_rate_per_min=150)


def _zeros(rows: list[Row], size: float) -> list[Row]:
    """The carbon dioxide sensor reads nothing in the last ``size`` per cent of the samples."""
    from_row = round(len(rows) * (1 - size / 100))
    return rows[:from_row] + faults.with_cells(rows[from_row:], **{faults.CARBON: 0})


_LOG = (
    plant_of(
        "log_has_every_week", "a week of the log is missing", "the steepest step may be in it", _log(_week_lost),
    ),
    plant_of(
        "minutes_of_a_week_are_possible", "the minutes of a week are {size} times too many",
        "one nought too many is a factor of ten", on_rows(_nought_more), (3.0, 10.0, 60.0), 10.0, "1",
    ),
    plant_of(
        "log_agrees_with_the_usual_distance", "the log is in hours", "all minutes are sixty times too few",
        _log(_in_hours),
    ),
    plant_of(
        "minutes_of_two_kinds_of_footwear_are_not_exchanged", "the minutes of one week stand in each other's row",
        "it looks like a sudden change to the new footwear", _log(_minutes_exchanged),
    ),
    plant_of(
        "log_and_questionnaire_cover_the_same_weeks", "the questionnaire of a week is missing",
        "how the running was borne is not known", on_rows(_form_lost),
    ),
    plant_of(
        "questionnaire_points_are_those_of_the_form", "numbers of answers stand for points",
        "the score means something else", _answered((1, 1, 0, 1)),
    ),
    plant_of(
        "later_answers_agree_with_the_first", "a form is half filled", "it gets no score", _answered((8, 8, None, 8)),
    ),
)  # fmt: skip
_BREATHING = (
    plant_of(
        "breath_rows_are_in_time_order", "{size} rows stand further down than they should",
        "one row is enough to show that rows were moved", _gas(lambda own, size: faults.pasted_later(own, 4, int(size), 3)),
        (1.0, 2.0, 4.0), 1.0, "1",
    ),
    plant_of(
        "breath_samples_have_no_long_gap", "the mask is off for {size} in the middle of a bout",
        "three intervals of the slowest analyser; in the plateau the energy cost stays empty",
        _gas(lambda own, size: faults.lost_between(own, 100, 100 + size)), (20.0, 60.0, 120.0, 180.0), 120.0, "s",
    ),
    plant_of(
        "gas_sensors_read_something", "the carbon dioxide sensor reads nothing in the last {size} of a bout",
        "it is half of the plateau", _gas(_zeros), (10.0, 25.0, 50.0, 100.0), 25.0, "%",
    ),
    plant_of(
        "gas_readings_do_not_freeze", "the analyser repeats one reading {size} times",
        "from five on it cannot be chance", _gas(lambda own, size: faults.held(own, 60, int(size))),
        (2.0, 3.0, 5.0, 8.0), 5.0, "1",
    ),
    plant_of(
        "no_two_bouts_are_the_same", "a bout stands under another condition too", "two conditions are one",
        on_rows(_copied_bout),
    ),
    plant_of(
        "bouts_are_numbered_one_after_the_other", "after the first bout of a condition comes the third", "a bout may be missing",
        _gas(_third_bout),
    ),
    plant_of(
        "bouts_are_long_enough_for_a_plateau", "a bout lasts {size} only", "warm-up and plateau take 300 s",
        _gas(faults.cut_after), (120.0, 240.0, 290.0, 330.0), 240.0, "s",
    ),
    plant_of(
        "oxygen_uptake_is_steady_at_the_end_of_a_bout", "the runner is still speeding up at the end",
        "the cost is that of no speed", _bout_fault("not_steady"),
    ),
    plant_of(
        "exchange_ratio_is_one_that_a_body_can_have", "carbon dioxide reads {size} too high",
        "the energy cost is a tenth off", _gas(lambda own, size: faults.scaled(own, carbon=1 + size / 100)),
        (10.0, 30.0, 60.0, 100.0), 60.0, "%",
    ),
    plant_of(
        "effort_stays_where_oxygen_tells_the_cost", "the bout is too hard", "a hard pace looks cheap",
        _bout_fault("too_hard"),
    ),
    plant_of(
        "oxygen_uptake_is_in_the_stated_unit", "gases are in L/min", "they are a thousand times too small",
        _gas(lambda own, size: faults.scaled(own, 0.001, 0.001, digits=3)),
    ),
    plant_of(
        "running_cost_is_that_of_level_running", "gases of a bout read {size} too high",
        "smaller errors stay within what runners differ by", _gas(lambda own, size: faults.scaled(own, 1 + size / 100, 1 + size / 100)),
        (20.0, 40.0, 60.0), 60.0, "%",
    ),
    plant_of(
        "gas_volumes_are_dry_and_at_standard_temperature", "all gas volumes are {size} too large or too small",
        "21 % is body temperature for standard, by the gas law", on_rows(_all_gas), (8.0, 14.0, 21.0), 21.0, "%",
    ),
    plant_of(
        "heart_rate_is_one_of_running", "the belt slips and the heart rate reads {size}",
        "it says nothing of effort", _gas(lambda own, size: faults.with_cells(own, heart_rate_per_min=int(size))),
        (95.0, 85.0, 62.0), 62.0, "/min",
    ),
)  # fmt: skip
PLANTS = (*_LOG, *_BREATHING)
