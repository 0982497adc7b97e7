"""What ``manystrides power`` says of a pool."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import duckdb
import pytest

from pipelines.errors import Unusable
from pipelines.pages.charts.power import power_chart
from pipelines.pool.planning import components_of
from pipelines.science.statistics.power import Components
from tests.command_line import command

ASKED = {
    "outcome": "contact_time_s",
    "contrast": "condition",
    "visit": "first",
    "condition": "unshod",
    "reference_condition": "shod",
}
ROW = {
    **ASKED,
    "pooling_method": "one_stage_mixed_model",
    "at_speed": "3.0 m/s",
    "event_method": "force",
    "estimate_value": -0.01,
    "between_site_sd_value": 0.002,
    "runner_sd_value": 0.003,
    "rest_sd_value": 0.004,
    "singular": False,
    "runner_count": 12,
    "site_count": 3,
    "fitted_components": "site_and_runner",
    "reference_visit": "first",
    "reason_simpler": None,
}


def warehouse(folder: Path, *rows: dict[str, Any]) -> Path:
    import pandas as pd

    path = folder / "warehouse.duckdb"
    with duckdb.connect(str(path)) as connection:
        connection.register("frame", pd.DataFrame(list(rows)))
        connection.execute("CREATE TABLE pooled_contrasts AS SELECT * FROM frame")
    return path


def test_a_runner_s_difference_has_both_of_its_parts_and_the_row_with_most_sites_counts(tmp_path: Path) -> None:
    alone = ROW | {"event_method": "sensor", "site_count": 2, "runner_count": 40, "rest_sd_value": 9.0}
    known = components_of(warehouse(tmp_path, alone, ROW), ASKED)
    assert known.components.between_sites == 0.002
    assert known.components.of_runner == pytest.approx(0.005)
    text = known.text(0.005, 0.8, (2, 3, 12))
    assert "from 12 runners at 3 sites (3.0 m/s, events by force)" in text
    assert "more than 1000" in text, "two sites that differ never reach it"
    assert "seen at 3 sites only" in text
    assert "Try --between-site-sd" in text


def test_what_sites_differ_by_can_be_said_and_is_then_not_doubted(tmp_path: Path) -> None:
    one_site = ROW | {"between_site_sd_value": None, "site_count": 1, "fitted_components": "one_site"}
    path = warehouse(tmp_path, one_site)
    with pytest.raises(Unusable, match="rests on one site"):
        components_of(path, ASKED)
    text = components_of(path, ASKED, 0.01).text(0.005, 0.8, (4,))
    assert "by 0.01 (as you said)" in text
    assert "Try" not in text


def of_site_means(rest_sd: float | None, runners: int) -> dict[str, Any]:
    nothing = {"between_site_sd_value": None, "runner_sd_value": None, "reason_simpler": "no degrees of freedom"}
    own = {"fitted_components": "site_means", "rest_sd_value": rest_sd, "runner_count": runners}
    return ROW | nothing | own


def test_the_mean_of_the_sites_means_says_nothing_of_what_sites_differ_by_and_the_refusal_says_so(
    tmp_path: Path,
) -> None:
    path = warehouse(tmp_path, of_site_means(0.004, 6))
    with pytest.raises(Unusable, match=r"mean of 3 sites' means stands in .* \(no degrees of freedom\)"):
        components_of(path, ASKED)
    known = components_of(path, ASKED, 0.01)
    assert known.components == Components(0.01, 0.004)
    assert "What runners differ by was seen in 6 runners at 3 sites only" in known.text(0.005, 0.8, (4,))


def test_where_the_mean_of_the_sites_means_stands_in_random_effects_tell_what_sites_differ_by_and_it_is_said(
    tmp_path: Path,
) -> None:
    other = ROW | {"pooling_method": "random_effects_restricted_likelihood", "between_site_sd_value": 0.003}
    known = components_of(warehouse(tmp_path, of_site_means(0.004, 6), other), ASKED)
    assert known.components == Components(0.003, 0.004)
    assert "that of random effects" in known.text(0.005, 0.8, (4,))


def test_what_nobody_knows_of_runners_is_refused_and_not_taken_for_nothing(tmp_path: Path) -> None:
    path = warehouse(tmp_path, of_site_means(None, 3))
    for said in (None, 0.0, 0.004):
        with pytest.raises(Unusable, match="one runner at each of 3 sites"):
            components_of(path, ASKED, said)
    for nothing in (0.0, 1e-19):
        folder = tmp_path / str(nothing)
        folder.mkdir()
        with pytest.raises(Unusable, match="do not vary within their sites"):
            components_of(warehouse(folder, of_site_means(nothing, 9)), ASKED, 0.0)


@pytest.mark.parametrize(
    ("option", "value"), [("--effect", "nan"), ("--effect", "inf"), ("--between-site-sd", "inf"), ("--aim", "nan")]
)
def test_what_is_no_number_is_refused_by_name(tmp_path: Path, option: str, value: str) -> None:
    words = {"--effect": "0.005", "--condition": "unshod", "--visit": "first", "--against": "shod", option: value}
    warehouse(tmp_path, ROW)
    said = command("power", "contact_time_s", "--depot", tmp_path, *(word for pair in words.items() for word in pair))
    assert said.returncode == 2
    assert f"{option} is {value}." in said.stderr


def test_a_comparison_that_the_pool_does_not_have_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Unusable, match="no components of variance of flight_time_s"):
        components_of(warehouse(tmp_path, ROW), ASKED | {"outcome": "flight_time_s"})


def test_the_curves_are_one_for_each_number_of_sites_and_told_in_words() -> None:
    drawn = power_chart("contact_time_s", 0.005, Components(0.002, 0.005), (2, 5, 12), 0.8, most=30)
    tree = ET.fromstring(str(drawn))
    texts = [element.text for element in tree.iter("{http://www.w3.org/2000/svg}text")]
    assert {"2 sites", "5 sites", "12 sites", "Power", "Runners at each site"} <= set(texts)
    (told,) = [element.text for element in tree.iter("{http://www.w3.org/2000/svg}desc")]
    assert "12 sites, 30 at each: 1.00" in str(told)
