"""What holds for every check: it has failed once, it has passed once, it never breaks, and its words can be read."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.context import Context
from checks.evidence import MOST_POINTS, Role
from checks.findings import Finding
from checks.registry import Subject, Weight, catalogue
from checks.run import run_checks
from pipelines.pages.charts.picture import drawings
from pipelines.science.workspace import Workspace
from schemas.trial import FileFacts, Trial
from tests.builders import a_standing_trial, a_study, a_trial
from tests.checks import site_cases
from tests.checks.every_case import clean, every_case, planted
from tests.checks.received_builders import a_delivery
from tests.checks.running_checks import STAMP, of_delivery, of_trial, run
from tests.tries import tries

NAMES = list(catalogue())
#: Checks that send a trial back and have nothing to draw: words of tables and files contradict each other, a rate or a
#: number of plates is another than stated, or nothing can be read. The last draws a plain signal, no number of which is
#: wrong.
WORDS_ARE_ALL = {
    "named_channels_are_in_the_files",
    "channel_units_agree_with_the_file",
    "required_markers_are_labelled",
    "plates_are_those_of_the_site",
    "file_agrees_with_itself",
    "force_plates_are_described_in_full",
    "names_stand_for_one_thing",
    "second_file_agrees_with_itself",
    "muscle_channels_say_muscle_and_side",
}
#: Checks that only note and have nothing to draw: parts of a file contradict each other, or places hold no position.
NOTES_OF_WORDS = {"file_structure_is_consistent", "missing_positions_are_marked"}
#: Checks whose sentence tells the drawn number in another form: two means instead of their difference, a mean or
#: a median instead of each value, a count instead of a share, or words.
TOLD_OTHERWISE = {
    "foot_brakes_before_it_pushes",
    "force_was_not_filtered_before",
    "plates_do_not_talk_across",
    "plates_are_still_after_toe_off",
    "vertical_force_points_up",
    "coordinates_are_right_handed",
    "markers_keep_their_distance",
    "frames_are_not_repeated",
    "left_and_right_leg_are_alike",
    "muscle_signals_are_raw",
    "muscle_signals_fill_their_band",
    "left_and_right_muscles_are_not_exchanged",
    "foot_sensors_are_on_their_own_feet",
    "foot_sensors_switch",
    "foot_sensors_close_once_for_each_contact",
    "muscles_are_free_of_heartbeats",
    "event_marks_contradict_nothing",
    "clocks_of_both_files_match",
}


@pytest.mark.parametrize("name", NAMES)
def test_the_check_finds_its_planted_fault_and_says_so_in_whole_sentences(name: str) -> None:
    case = planted(name)
    context = case.context()
    report = run(name, context)
    assert report.runs[0].status == "found", report.runs[0].reason
    if case.exact:
        assert len(report.findings) == case.findings
        assert report.findings[0].place == case.place
    assert {finding.weight for finding in report.findings} == {catalogue()[name].weight}
    for finding in report.findings:
        the_message_is_whole_sentences(finding)
    if catalogue()[name].about is Subject.TRIAL:
        assert any(finding.shows for finding in report.findings) == (name not in WORDS_ARE_ALL | NOTES_OF_WORDS)
    if context.trial is not None:
        for finding in report.findings:
            the_moment_to_draw_lies_within(context.trial, finding)
            the_picture_shows_the_fault(finding, context.work)


def the_message_is_whole_sentences(finding: Finding) -> None:
    for text in (finding.seen, finding.expected, finding.remedy):
        assert text.endswith(".")
        assert not re.search(r"[{}]|\bnan\b|\bNone\b|\.\.|  ", text)
        first = text.split()[0]
        assert first[0].isupper() or first[0].isdigit() or re.search(r"[_./]", first), text


def the_picture_shows_the_fault(finding: Finding, work: Workspace | None) -> None:
    """A number is drawn that is not as it is drawn to be expected, and points are no more than a drawing can show."""
    picture = finding.shows
    if picture is None:
        return
    assert work is not None
    assert picture.shows_the_fault
    assert picture.marks_the_worst(finding.moment_s)
    assert finding.signal is None, "one picture for one finding"
    for panel in picture.panels:
        assert panel.title
        assert "_" not in panel.title
        for part in panel.parts:
            assert 0 < len(part.points) <= MOST_POINTS
            assert not any(math.isinf(x) or math.isinf(y) for x, y in part.points)
            assert part.role not in (Role.EXPECTED, Role.MEASURE) or len(part.points) == 2
    if finding.check_name not in TOLD_OTHERWISE:
        assert a_number_in(finding.seen, [number for panel in picture.panels for number in panel.beyond])
    root = [ElementTree.fromstring(drawn.svg) for drawn in drawings(picture, finding.moment_s, "k")]
    assert len(root) == len(picture.panels)


def a_number_in(sentence: str, drawn: list[float]) -> bool:
    """Whether a sentence tells one of these numbers, as rounded as it tells it, in thousandths or per cent too."""
    for found in re.finditer(r"\d+(?:\.(\d+))?(?:e[-+]?\d+)?", sentence):
        told, digits = float(found[0]), len(found[1] or "")
        near = 0.51 * 10.0**-digits if "e" not in found[0] else 0.006 * told
        if any(abs(abs(number) * by - told) <= near for number in drawn for by in (1, 1000, 100)):
            return True
    return False


def the_moment_to_draw_lies_within(trial: Trial, finding: Finding) -> None:
    if finding.signal is None:
        assert finding.moment_s is None or finding.shows is not None
        return
    assert finding.moment_s is not None
    assert 0 <= finding.moment_s <= trial.duration_s
    assert re.fullmatch(
        r"force:(\d+|all):(vertical|fore_aft|sideways)|marker:\w+:(forward|up|right)"
        r"|distance:\w+:\w+|cop:\d+:(forward|right)|channel:.+",
        finding.signal,
    )


@pytest.mark.parametrize("name", NAMES)
def test_the_check_accepts_a_clean_case_it_has_looked_at(name: str) -> None:
    (ended,) = run(name, clean(name)).runs
    assert ended.status == "pass"
    assert ended.rows_examined > 0


def test_no_case_is_of_a_check_that_is_gone() -> None:
    planted_ones, clean_ones = every_case()
    assert set(planted_ones) | set(clean_ones) <= set(NAMES)


def empty_trial() -> Trial:
    facts = FileFacts("INTEL", "float", 0, 0, 0.0, "", 0, None, ())
    return Trial("T9", "mill", "running", "shod", "treadmill", facts, {}, {}, 0.0, (), None)


def no_signal(trial: Trial) -> Trial:
    """Everything is there and nothing is known: NaN in every sample."""
    plates = tuple(
        replace(p, force=p.force * np.nan, moment=p.moment * np.nan, raw=p.raw * np.nan) for p in trial.plates
    )
    return replace(trial, plates=plates, markers={r: path * np.nan for r, path in trial.markers.items()})


def no_samples(trial: Trial) -> Trial:
    plates = tuple(replace(p, force=p.force[:0], moment=p.moment[:0], raw=p.raw[:0]) for p in trial.plates)
    return replace(trial, plates=plates, markers={r: path[:0] for r, path in trial.markers.items()})


ODD = {
    "empty": empty_trial,
    "all NaN": lambda: no_signal(a_trial()),
    "all NaN on a runway": lambda: no_signal(a_trial(surface="runway", footfalls=2)),
    "standing, all NaN": lambda: no_signal(a_standing_trial()),
    "no samples": lambda: no_samples(a_trial()),
    "one frame": lambda: replace(a_trial(), markers={r: p[:1] for r, p in a_trial().markers.items()}),
    "no plates, no mass": lambda: replace(a_trial(), plates=(), mass_kg=None),
    "plate with corners in one point": lambda: replace(
        a_trial(), plates=(replace(a_trial().plates[0], corners=np.zeros((4, 3))),)
    ),
    "plate with unknown corners": lambda: replace(
        a_trial(), plates=(replace(a_trial().plates[0], corners=np.full((4, 3), np.nan)),)
    ),
    "plate without channels": lambda: replace(
        a_trial(), plates=(replace(a_trial().plates[0], raw=np.empty((0, 0)), labels=()),)
    ),
    "one channel more than labels": lambda: replace(a_trial(), plates=(replace(a_trial().plates[0], labels=()),)),
    "reference contraction": lambda: a_trial(kind="reference_contraction"),
    "unknown laboratory": lambda: replace(a_trial(), site="nowhere"),
    "markers of unequal length": lambda: replace(
        a_trial(), markers={**a_trial().markers, "calcaneus_right": np.zeros((7, 3))}
    ),
}


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("odd", ODD)
def test_odd_trials_break_no_check(odd: str) -> None:
    trial = ODD[odd]()
    empty, other = (of_trial(one()).footfalls for one in (a_standing_trial, a_trial))
    own = Workspace(trial, a_study().processing)
    for work in (own, own.given(footfalls=empty), own.given(footfalls=other)):
        report = run_checks(Subject.TRIAL, Context(a_study(), "d-001", trial.site, work=work), STAMP)
        assert not [r for r in report.runs if r.status == "crashed"]


@pytest.mark.parametrize("tables", [{}, a_delivery(sent_trials=[], sent_sessions=[]).tables])
def test_odd_deliveries_break_no_check(tables: dict) -> None:
    context = of_delivery(replace(a_delivery(), tables=tables, files=(), site=None))
    report = run_checks(Subject.DELIVERY, context, STAMP)
    assert not [r for r in report.runs if r.status == "crashed"]


def emptied(pool: dict) -> dict:
    return {name: rows.iloc[:0] for name, rows in pool.items()}


def all_missing(pool: dict) -> dict:
    """Every number is null."""
    return {
        name: rows.assign(**dict.fromkeys(rows.select_dtypes("float").columns, np.nan)) for name, rows in pool.items()
    }


ODD_POOLS = {
    "empty": emptied,
    "every number missing": all_missing,
    "one site": lambda pool: {name: rows[rows["site"] == "mill"] for name, rows in pool.items()},
    "one runner everywhere": lambda pool: {name: rows.groupby("site").head(1) for name, rows in pool.items()},
    "every value the same": lambda pool: {
        name: rows.assign(**dict.fromkeys(rows.select_dtypes("float").columns, 1.0)) for name, rows in pool.items()
    },
}


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("odd", ODD_POOLS)
def test_odd_pools_break_no_check(odd: str) -> None:
    pool = ODD_POOLS[odd](site_cases.a_pool())
    for site in ("mill", "nowhere"):
        report = run_checks(Subject.SITE, site_cases.of_pool(pool, site), STAMP)
        assert [(r.check_name, r.reason) for r in report.runs if r.status == "crashed"] == []


def test_checks_of_whole_sites_are_notes_and_change_nothing_they_look_at() -> None:
    context = site_cases.clean()
    assert context.outcomes is not None
    before = {name: rows.copy() for name, rows in context.outcomes.items()}
    report = run_checks(Subject.SITE, context, STAMP)
    assert {r.status for r in report.runs} == {"pass"}
    assert all(rows.equals(before[name]) for name, rows in context.outcomes.items())
    assert {catalogue()[r.check_name].weight for r in report.runs} == {Weight.NOTES}


def test_checks_change_nothing_they_look_at() -> None:
    context = of_trial(a_trial())
    assert context.trial is not None
    assert context.footfalls is not None
    before = {role: path.copy() for role, path in context.trial.markers.items()}
    force, table = context.trial.plates[0].force.copy(), context.footfalls.frame()
    run_checks(Subject.TRIAL, context, STAMP)
    assert all(np.array_equal(before[role], path) for role, path in context.trial.markers.items())
    assert np.array_equal(force, context.trial.plates[0].force)
    assert table.equals(context.footfalls.frame())


@tries(60)
@given(
    surface=st.sampled_from(["treadmill", "runway"]),
    reach_m=st.floats(0.6, 0.95),  # the way the body goes over one foot, so that contact gets shorter with speed
    flight_s=st.floats(0.05, 0.15),
    mass_kg=st.floats(45, 110),
    speed=st.floats(2.4, 5.0),
    first_side=st.sampled_from(["left", "right"]),
    noise_n=st.floats(0, 5),
    noise_mm=st.floats(0.02, 1),  # no camera measures the same place twice
    bits=st.sampled_from([None, 12, 16]),
)
def test_a_clean_run_at_any_usual_pace_is_never_returned(
    surface, reach_m, flight_s, mass_kg, speed, first_side, noise_n, noise_mm, bits
) -> None:
    trial = a_trial(
        surface=surface,
        footfalls=2 if surface == "runway" else 8,
        contact_s=reach_m / speed,
        flight_s=flight_s,
        mass_kg=mass_kg,
        speed=speed,
        first_side=first_side,
    )
    flat_feet = a_study(processing={"marker_events": {"toe_off": "jerk"}})  # as simulated ones lift, and no real ones
    context = of_trial(recorded(trial, noise_n, noise_mm, bits), flat_feet)
    report = run_checks(Subject.TRIAL, context, STAMP)
    assert [f.seen for f in report.findings if f.weight == Weight.RETURNS] == []


def recorded(trial: Trial, noise_n: float, noise_mm: float, bits: int | None) -> Trial:
    """The trial as equipment with noise and a converter of so many bits (of a range of 8 kN) records it."""
    rng = np.random.default_rng(0)
    step = 8000 / 2**bits if bits else None

    def through(values: np.ndarray) -> np.ndarray:
        noisy = values + rng.normal(0, noise_n or 1e-9, values.shape)
        return np.round(noisy / step) * step if step else noisy

    plates = []
    for plate in trial.plates:
        force = through(plate.force)
        plates.append(replace(plate, force=force, raw=np.hstack([force, plate.moment])))
    markers = {r: p + rng.normal(0, noise_mm / 1000, p.shape) for r, p in trial.markers.items()}
    return replace(trial, plates=tuple(plates), markers=markers)
