"""What all charts are built from: scales and their round numbers, marks that stay inside, words that stay words."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.evidence import Kind, Panel, Part, Picture, Role
from checks.showing import expected, line, number, over_time
from pipelines.pages.charts import marks
from pipelines.pages.charts.evidence_words import expected_words, panel_words
from pipelines.pages.charts.labels import Labels
from pipelines.pages.charts.legend import BAND
from pipelines.pages.charts.look import INK, SIZE, shortened, width_of
from pipelines.pages.charts.picture import drawings
from pipelines.pages.charts.scale import Scale, roomy, tick_words
from pipelines.pages.charts.standings import standing_chart
from tests.tries import tries

SVG = "{http://www.w3.org/2000/svg}"
FINITE = st.floats(-1e9, 1e9, allow_nan=False).map(lambda v: round(v, 6))


@given(st.floats(-1e4, 1e4), st.floats(1e-4, 1e9), st.integers(1, 10))
def test_ticks_are_round_evenly_apart_inside_the_scale_and_told_apart(low: float, span: float, about: int) -> None:
    scale = Scale(low, low + span, 0, 300)
    ticks = scale.ticks(about)
    room = 1e-6 * (scale.high - scale.low)
    assert all(scale.low - room <= tick <= scale.high + room for tick in ticks)
    assert len(ticks) <= 2 * about + 2
    words = tick_words(ticks)
    assert len(set(words)) == len(words)
    if len(ticks) > 1:
        step = ticks[1] - ticks[0]
        first = step / 10 ** math.floor(math.log10(step) + 1e-9)
        assert min(abs(first - nice) for nice in (1, 2, 5, 10)) < 1e-3


@pytest.mark.parametrize(
    ("ticks", "words"),
    [
        ([0.0, 0.5, 1.0], ["0.0", "0.5", "1.0"]),
        ([-20.0, -10.0, 0.0], ["−20", "−10", "0"]),
        ([0.0, 500.0, 1000.0, 1500.0], ["0", "500", "1,000", "1,500"]),
        ([0.2499999999, 0.5], ["0.2", "0.5"]),
        ([-0.02, -0.01, -1e-18], ["−0.02", "−0.01", "0.00"]),
        ([], []),
    ],
)
def test_numbers_at_an_axis_have_the_decimals_of_their_step(ticks: list[float], words: list[str]) -> None:
    assert tick_words(ticks) == words


def test_whole_numbers_are_never_parted() -> None:
    assert Scale(0, 2, 0, 90).ticks(7, whole=True) == [0, 1, 2]


@given(st.lists(FINITE, max_size=5))
def test_a_scale_always_has_room(numbers: list[float]) -> None:
    low, high = roomy(numbers, part=0.1)
    assert low < high
    assert all(low < number < high for number in numbers)


@given(st.text(max_size=40))
def test_any_words_stay_words(words: str) -> None:
    drawn = marks.svg(10, 10, [marks.text((1, 1), words)], "k", words, words)
    root = ElementTree.fromstring(drawn)
    said = {element.tag.removeprefix(SVG): element.text or "" for element in root}
    assert set(said) == {"title", "desc", "text"}
    assert said["text"].replace("�", "") == "".join(c for c in marks.clean(words) if c != "�")


@given(st.text("abcmwM.1 ", max_size=60), st.floats(20, 200))
def test_words_too_long_for_their_place_are_cut_to_fit(words: str, room: float) -> None:
    cut = shortened(words, room)
    assert width_of(cut) <= room
    assert cut == words or cut.endswith("…")


PLACES = st.tuples(FINITE | st.just(math.nan), FINITE | st.just(math.nan))
TIMES = st.floats(0, 10).map(lambda v: round(v, 3))


@st.composite
def panels(draw: st.DrawFn) -> Panel:
    """Any panel that can be stored: parts of every role, gaps, a limit that is open at either end."""
    kind = draw(st.sampled_from(list(Kind)))
    limit = draw(st.sampled_from([(None, 5.0), (-5.0, None), (-1.0, 1.0), (None, None), (0.0, 0.0)]))
    name = draw(st.sampled_from(["", "left", "right", "a name that is far too long for any drawing " * 3]))
    parts = [
        Part(role, name, tuple(draw(st.lists(PLACES, min_size=1, max_size=30))))
        for role in draw(st.lists(st.sampled_from([Role.LINE, Role.BESIDE, Role.VALUE, Role.STICK, Role.OUTLINE])))
    ]
    start, end = sorted(draw(st.tuples(TIMES, TIMES)))
    parts.append(Part(Role.LINE, name, ((start, 0.0), (end, 1.0))))
    parts.append(Part(draw(st.sampled_from([Role.CONTACT, Role.SPAN])), name, ((start, math.nan), (end, math.nan))))
    if draw(st.booleans()):
        y = math.nan if kind in (Kind.OVER_TIME, Kind.TWO_CLOCKS) else 0.0
        parts.append(Part(Role.MEASURE, name, ((start, y), (end, y))))
    if kind in (Kind.OVER_TIME, Kind.SPECTRUM, Kind.ONE_BY_ONE, Kind.TWO_CLOCKS):
        parts = [replace(part, points=tuple(p for p in part.points if math.isfinite(p[0]))) for part in parts]
    parts = [part for part in parts if part.points]
    return Panel(kind, "A title", draw(st.sampled_from(["N", "m", "s", "1", ""])), (*parts, *expected(*limit)))


@tries(60)
@given(panels(), st.none() | st.floats(-1, 12))
def test_any_picture_is_drawn_inside_its_frame(panel: Panel, moment_s: float | None) -> None:
    (drawn,) = drawings(Picture((panel,)), moment_s, "k")
    root = ElementTree.fromstring(drawn.svg)
    width, height = float(root.attrib["width"]), float(root.attrib["height"])
    cut_off = {id(path) for inner in root.iter(f"{SVG}svg") if inner is not root for path in inner.iter()}
    for path in root.iter(f"{SVG}path"):
        if path.get("transform") is None and id(path) not in cut_off:
            for x, y in re.findall(r"(-?[\d.]+),(-?[\d.]+)", path.attrib["d"]):
                assert 0 <= float(x) <= width
                assert 0 <= float(y) <= height
    for box in root.iter(f"{SVG}rect"):
        assert 0 <= float(box.attrib["x"]) <= width
        assert float(box.attrib["x"]) + float(box.attrib["width"]) <= width + 2
    assert "nan" not in str(ElementTree.tostring(root))
    assert "inf" not in str(ElementTree.tostring(root))


@pytest.mark.parametrize(
    ("value", "unit", "limit", "words", "expected"),
    [
        (0.0352, "s", 0.01, "35.2 ms", "at most 10 ms"),
        (-0.042, "m", 0.01, "−42 mm", "at most 10 mm"),
        (0.0778, "m", 2.4, "77.8 mm", "at most 2,400 mm"),
        (375.0, "m", 0.02, "375 m", "at most 0.02 m"),
        (12.5, "s", 0.5, "12.5 s", "at most 0.5 s"),
        (0.000412, "V", 0.0003, "412 µV", "at most 300 µV"),
        (25.04, "uV", 10, "25 µV", "at most 10 µV"),
        (-1e-9, "N", 15, "0 N", "at most 15 N"),
        (8199.4, "N", 40, "8,199 N", "at most 40 N"),
        (7203.0, "N.m", 40, "7,203 N·m", "at most 40 N·m"),
        (90, "deg", 45, "90°", "at most 45°"),
    ],
)
def test_a_number_of_a_picture_and_its_limit_are_told_in_one_unit(
    value: float, unit: str, limit: float, words: str, expected: str
) -> None:
    panel = number("A title", unit, value, high=limit)
    assert panel_words(panel, value) == words
    assert expected_words(panel) == expected


@given(st.floats(-1e6, 1e6), st.sampled_from(["N", "m", "s", "V", "1", "%"]))
def test_no_number_of_a_picture_is_less_than_zero_by_nothing_or_written_with_a_hyphen(value: float, unit: str) -> None:
    said = panel_words(number("A title", unit, value), value)
    assert not re.match(r"−0(\.0*)?( |$)", said)
    assert "-" not in said


def drawn_words(panel: Panel, moment_s: float | None = None) -> list[str]:
    (drawn,) = drawings(Picture((panel,)), moment_s, "k")
    return [text.text or "" for text in ElementTree.fromstring(drawn.svg).iter(f"{SVG}text")]


def test_what_is_furthest_from_the_expected_is_marked_with_its_number() -> None:
    """A peak of 250 N at 0.30 s stands out of others of 120 N; the mark lies on it, and its number beside it."""
    values = np.tile([0.0, 120.0, 0.0, 40.0, 0.0], 20)
    values[30] = 250.0
    panel = over_time("Force", "N", line("", values, 100.0), high=100.0)
    assert panel.furthest_beyond(0.9) == (pytest.approx(0.30), 250.0)
    assert Picture((panel,)).marks_the_worst(0.30)
    assert not Picture((panel,)).marks_the_worst(0.31)
    (drawn,) = drawings(Picture((panel,)), 0.30, "k")
    root = ElementTree.fromstring(drawn.svg)
    assert "250 N" in drawn_words(panel, 0.30)
    (mark,) = [p for p in root.iter(f"{SVG}path") if "translate" in (p.get("transform") or "")]
    (moment,) = [p for p in root.iter(f"{SVG}path") if p.get("stroke-dasharray") == "5 3"]
    at = float(re.findall(r"translate\(([\d.]+)", mark.attrib["transform"])[0])
    assert at == pytest.approx(float(re.findall(r"M([\d.]+)", moment.attrib["d"])[0]), abs=0.1)


def test_of_equal_values_the_one_nearest_to_the_moment_is_marked() -> None:
    panel = over_time("Distance", "m", line("", np.array([1.0, 0, 0, 0, 1.0]), 10.0), low=0.5)
    assert [panel.furthest_beyond(at) for at in (0.1, 0.29)] == [(0.1, 0.0), (pytest.approx(0.3), 0.0)]
    assert over_time("Distance", "m", line("", np.ones(5), 10.0), low=0.5).furthest_beyond(None) is None


def test_a_value_without_a_limit_is_hollow_since_nothing_is_wrong_with_it() -> None:
    (drawn,) = drawings(Picture((over_time("Force", "N", line("", np.arange(90.0), 100.0)),)), 0.4, "k")
    marks_drawn = [p for p in ElementTree.fromstring(drawn.svg).iter(f"{SVG}path") if p.get("transform")]
    assert [mark.get("fill") for mark in marks_drawn] == ["#ffffff"]


LETTERS = st.text("abcdefgh ", min_size=1, max_size=14)
SPOTS = st.tuples(st.integers(10, 300).map(float), st.integers(10, 190).map(float))


@given(st.lists(st.tuples(SPOTS, LETTERS), min_size=1, max_size=4))
def test_words_beside_places_lie_on_no_others_and_inside_the_drawing(
    wanted: list[tuple[tuple[float, float], str]],
) -> None:
    labels, boxes = Labels((0, 0, 350, 230)), []
    for at, words in wanted:
        (*_, text) = labels.beside(at, words)
        x, y = (float(found) for found in re.findall(r' [xy]="(-?[\d.]+)"', text)[:2])
        boxes.append((x, y - SIZE, x + width_of(words), y))
        assert x >= -0.1
        assert y <= 230.1
        assert boxes[-1][2] <= 350.1
    for one, other in combinations(boxes, 2):
        assert min(one[2], other[2]) <= max(one[0], other[0]) or min(one[3], other[3]) <= max(one[1], other[1])


def test_bars_are_as_long_as_their_trials_whatever_the_width() -> None:
    rows = [("a-001", {"accepted": 8, "returned": 2}), ("a-002", {"accepted": 4}), ("a-003", {})]
    for width in (760, 350):
        root = ElementTree.fromstring(standing_chart(rows, "k", width=width))
        accepted, returned, second = (float(r.attrib["width"]) for r in root.iter(f"{SVG}rect"))
        assert (accepted / returned, accepted / second) == pytest.approx((4, 2), rel=0.01)
        assert "no trials" in [t.text for t in root.iter(f"{SVG}text")]
        assert float(root.attrib["width"]) == width


def turned_over(colour: str) -> np.ndarray:
    """What ``invert(1) hue-rotate(180deg)`` makes of a colour: matrix of hue rotation, W3C Filter Effects Level 1."""
    c, s = -1.0, 0.0
    red, green, blue = 0.213, 0.715, 0.072
    matrix = np.array(
        [
            [red + c * 0.787 - s * 0.213, green - c * 0.715 - s * 0.715, blue - c * 0.072 + s * 0.928],
            [red - c * 0.213 + s * 0.143, green + c * 0.285 + s * 0.140, blue - c * 0.072 - s * 0.283],
            [red - c * 0.213 - s * 0.787, green - c * 0.715 + s * 0.715, blue + c * 0.928 + s * 0.072],
        ]
    )
    return np.clip(matrix @ (1 - rgb(colour)), 0, 1)


def rgb(colour: str) -> np.ndarray:
    return np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255


def contrast(one: np.ndarray, other: np.ndarray) -> float:
    """Contrast of two colours by WCAG 2.2."""
    linear = [np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4) for c in (one, other)]
    dark, light = sorted(float(np.array([0.2126, 0.7152, 0.0722]) @ c) for c in linear)
    return (light + 0.05) / (dark + 0.05)


def test_what_is_expected_is_seen_on_a_dark_page_and_words_on_it_are_read() -> None:
    css = (Path(marks.__file__).parents[1] / "static" / "pages.css").read_text(encoding="utf-8")
    dark = css.partition("prefers-color-scheme: dark")[2]
    sheet = rgb(re.findall(r"--sheet: (#\w{6})", dark)[0])
    band = turned_over(re.findall(r"\.expected { fill: (#\w{6})", dark)[0])
    assert contrast(turned_over(BAND), sheet) < 1.1, "turned over alone, it would not be seen"
    assert contrast(band, sheet) > 1.8
    assert contrast(turned_over(INK), band) > 4.5
    assert {"span", "gap", "contact"} <= set(re.findall(r"\.(\w+) { fill", dark))
