"""What all charts are built from: scales and their round numbers, marks that stay inside, words that stay words."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.pages.charts import marks
from pipelines.pages.charts.look import shortened, width_of
from pipelines.pages.charts.scale import Scale, roomy, tick_words
from pipelines.pages.charts.signal import signal_chart
from pipelines.pages.charts.standings import standing_chart
from pipelines.pages.traces import Trace

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


@given(
    st.lists(st.one_of(st.none(), FINITE, st.sampled_from([math.nan, math.inf])), min_size=2, max_size=40),
    st.one_of(st.none(), st.floats(-1, 1)),
)
def test_any_signal_is_drawn_inside_its_frame(values: list[float | None], moment_s: float | None) -> None:
    trace = Trace("force:1:vertical", "N", tuple((n / 100, v) for n, v in enumerate(values)))
    root = ElementTree.fromstring(signal_chart(trace, moment_s, "k").svg)
    width, height = float(root.attrib["width"]), float(root.attrib["height"])
    for path in root.iter(f"{SVG}path"):
        if path.get("transform") is None:
            for x, y in re.findall(r"(-?[\d.]+),(-?[\d.]+)", path.attrib["d"]):
                assert 0 <= float(x) <= width
                assert 0 <= float(y) <= height
    assert "nan" not in str(ElementTree.tostring(root))


def test_bars_are_as_long_as_their_trials_whatever_the_width() -> None:
    rows = [("a-001", {"accepted": 8, "returned": 2}), ("a-002", {"accepted": 4}), ("a-003", {})]
    for width in (760, 350):
        root = ElementTree.fromstring(standing_chart(rows, "k", width=width))
        accepted, returned, second = (float(r.attrib["width"]) for r in root.iter(f"{SVG}rect"))
        assert (accepted / returned, accepted / second) == pytest.approx((4, 2), rel=0.01)
        assert "no trials" in [t.text for t in root.iter(f"{SVG}text")]
        assert float(root.attrib["width"]) == width
