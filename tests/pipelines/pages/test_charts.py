"""What all charts are built from: scales and their round numbers, marks that stay inside, words that stay words."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.evidence import Kind, Panel, Part, Picture, Role
from checks.showing import expected
from pipelines.pages.charts import marks
from pipelines.pages.charts.evidence_words import size_words
from pipelines.pages.charts.look import shortened, width_of
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
    ("value", "unit", "words"),
    [
        (0.0352, "s", "35.2 ms"),
        (-0.042, "m", "−42 mm"),
        (1.25, "s", "1.25 s"),
        (8199.4, "N", "8,199 N"),
        (0, "N", "0 N"),
    ],
)
def test_numbers_of_pictures_are_told_in_the_size_people_say(value: float, unit: str, words: str) -> None:
    assert size_words(value, unit) == words


def test_bars_are_as_long_as_their_trials_whatever_the_width() -> None:
    rows = [("a-001", {"accepted": 8, "returned": 2}), ("a-002", {"accepted": 4}), ("a-003", {})]
    for width in (760, 350):
        root = ElementTree.fromstring(standing_chart(rows, "k", width=width))
        accepted, returned, second = (float(r.attrib["width"]) for r in root.iter(f"{SVG}rect"))
        assert (accepted / returned, accepted / second) == pytest.approx((4, 2), rel=0.01)
        assert "no trials" in [t.text for t in root.iter(f"{SVG}text")]
        assert float(root.attrib["width"]) == width
