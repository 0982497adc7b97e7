from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from typing import Any

import numpy as np
import pytest
from markupsafe import Markup

from pipelines.pages.charts.forest import ForestRow, forest_chart, forest_rows
from pipelines.pages.charts.look import BLUE, VERMILLION
from pipelines.science.statistics.contrasts import runner_contrasts, site_contrasts
from pipelines.science.statistics.pooled import pooled_contrasts
from schemas.processing import Processing
from tests.pipelines.science.measured import measured

SVG = "{http://www.w3.org/2000/svg}"
ROWS = [
    ForestRow("brack", -0.016, -0.019, -0.013, 6),
    ForestRow("corrie", -0.014, -0.017, -0.011, 4),
    ForestRow("tarn", -0.015, None, None, 2, reason="2 of at least 3 runners"),
    ForestRow("Mixed model", -0.015, -0.017, -0.013, 12, pooled=True),
    ForestRow("Random effects, REML", -0.015, -0.031, 0.001, 10, pooled=True, prediction=(-0.03, 0.002)),
]


def drawn(rows: list[ForestRow] = ROWS, compared: tuple[str, str] = ("unshod", "cushioned"), **other: Any) -> Markup:
    options = {"what": "Contact time", "unit": "s", "key": "forest-1", "digits": 3}
    return forest_chart(comparisons=other.pop("comparisons", [(compared, rows)]), **(options | other))


def texts(chart: Markup) -> list[str]:
    return ["".join(e.itertext()) for e in ElementTree.fromstring(chart).iter(f"{SVG}text")]


def filled(chart: Markup, colour: str) -> list[ElementTree.Element]:
    return [e for e in ElementTree.fromstring(chart).iter(f"{SVG}path") if e.get("fill") == colour]


def test_every_estimate_is_labelled_with_its_name_runners_and_numbers() -> None:
    said = texts(drawn())
    for words in ("brack, n = 6", "tarn, n = 2", "Mixed model, n = 12", "−0.016 (−0.019 to −0.013)"):
        assert words in said
    assert "−0.015 (no interval)" in said
    assert "unshod less cushioned" in said
    assert "Difference (s)" in said


def test_the_drawing_has_a_title_and_the_whole_story_in_words() -> None:
    root = ElementTree.fromstring(drawn())
    assert root.get("role") == "img"
    title, description = (root.findtext(f"{SVG}{tag}") or "" for tag in ("title", "desc"))
    assert (root.get("aria-labelledby"), root.get("aria-describedby")) == ("forest-1-title", "forest-1-desc")
    assert title == "Contact time: unshod less cushioned, by site and pooled"
    assert "unshod less cushioned, above zero means more in unshod:" in description
    assert "tarn, 2 runners: −0.015 (no interval), 2 of at least 3 runners." in description
    assert "a further site expected from −0.030 to +0.002" in description


def test_sites_and_pools_differ_by_shape_and_not_only_by_colour() -> None:
    chart = drawn()
    sites, pools = filled(chart, BLUE), filled(chart, VERMILLION)
    assert (len(sites), len(pools)) == (3, 2)
    shapes = [{e.get("d") for e in group} for group in (sites, pools)]
    assert all(len(shape) == 1 for shape in shapes)
    assert shapes[0] != shapes[1]


def test_marks_stand_where_the_numbers_say() -> None:
    places = [float(re.findall(r"-?[\d.]+", e.get("transform") or "")[0]) for e in filled(drawn(), BLUE)]
    brack, corrie, tarn = places
    assert brack < tarn < corrie
    assert (tarn - brack) == pytest.approx((corrie - brack) / 2, abs=0.02)


def test_comparisons_of_one_outcome_share_one_axis() -> None:
    one, other = ForestRow("brack", -0.01, -0.02, 0.0, 6), ForestRow("brack", -0.03, -0.04, -0.02, 6)
    chart = drawn(comparisons=[(("thin_soled", "cushioned"), [one]), (("unshod", "cushioned"), [other, one])])
    first, second, again = [float(re.findall(r"-?[\d.]+", e.get("transform") or "")[0]) for e in filled(chart, BLUE)]
    assert first == again > second
    said = texts(chart)
    assert ("thin soled less cushioned" in said, "unshod less cushioned" in said) == (True, True)
    assert said.count("Difference (s)") == 1


def test_an_endless_interval_is_cut_and_marked_and_the_others_stay_readable() -> None:
    wide = [*ROWS[:2], ForestRow("Random effects, DL", -0.015, -9.0, 8.97, 10, pooled=True)]
    said = texts(drawn(wide))
    assert {"◀", "▶"} <= set(said)
    assert "−0.015 (−9.000 to +8.970)" in said
    assert not {"◀", "▶"} & set(texts(drawn()))
    apart = [float(re.findall(r"-?[\d.]+", e.get("transform") or "")[0]) for e in filled(drawn(wide), BLUE)]
    assert abs(apart[0] - apart[1]) > 3


def test_words_from_a_study_file_are_only_ever_text() -> None:
    chart = drawn([ForestRow("<script>x</script>", 1.0, 0.0, 2.0, 5)], compared=("<b>", "a_b"))
    assert "<script" not in chart
    assert "<b>" not in chart
    assert any("less a b" in text for text in texts(chart))


def test_nothing_estimated_is_said_and_does_not_fail() -> None:
    none = ForestRow("Mixed model", None, None, None, 1, pooled=True, reason="1 of at least 3 runners")
    assert "no estimate" in texts(drawn([none]))


def test_rows_come_straight_from_the_tables() -> None:
    rng = np.random.default_rng(3)
    rows = []
    for site, count in (("brack", 5), ("corrie", 4), ("tarn", 2)):
        for i in range(count):
            rows += [
                (f"{site}{i}", site, "cushioned", 0.25),
                (f"{site}{i}", site, "unshod", 0.24 + rng.normal(0, 0.002)),
            ]
    contrasts = runner_contrasts(measured(rows), Processing())
    of_sites = site_contrasts(contrasts, Processing())
    sites = of_sites.to_dict("records")
    found = forest_rows(sites, pooled_contrasts(contrasts, of_sites, Processing()).to_dict("records"))
    assert [row.label for row in found] == ["brack", "corrie", "tarn", "Mixed model", "Random effects, DL", "Random effects, REML"]  # fmt: skip
    assert [row.pooled for row in found] == [False] * 3 + [True] * 3
    assert found[2].lower is None
    assert found[2].reason == "2 of at least 3 runners"
    assert found[0].estimate == pytest.approx(sites[0]["estimate_value"])
    assert "tarn, n = 2" in texts(drawn(found))
