"""The report of the planned answers: whole, offline, with the warehouse's own numbers, bound to the warehouse."""

from __future__ import annotations

import hashlib
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import duckdb
import pytest
from scipy.stats import binomtest

from pipelines.errors import Unusable
from pipelines.pages.charts.band import band_chart
from pipelines.pages.charts.funnel import funnel_chart
from pipelines.pages.charts.paired import MOST_LINES, paired_chart
from pipelines.pages.charts.participants import participants_chart
from pipelines.pages.planned_words import is_one_sided
from pipelines.pages.report import report, write_report
from pipelines.pages.words import signed
from pipelines.release.contents import fill
from pipelines.study.file import load_study
from tests.delivery_builders import STUDY

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def page(demo_depot: Path) -> str:
    return report(demo_depot / "warehouse.duckdb")


def test_every_planned_answer_stands_on_it_with_the_warehouses_numbers(page: str, demo_depot: Path) -> None:
    with duckdb.connect(str(demo_depot / "warehouse.duckdb"), read_only=True) as connection:
        rows = connection.execute(
            "SELECT estimate_value, lower_limit_value, upper_limit_value FROM planned_contrasts WHERE variant = 'main'"
        ).fetchall()
        curves = connection.execute("SELECT count(*) FROM planned_curves WHERE reason_null IS NULL").fetchall()[0][0]
    assert len(rows) == page.count(">As planned, n = ")
    for estimate, lower, upper in rows:
        texts = [f"{signed(estimate, n)} ({signed(lower, n)} to {signed(upper, n)})" for n in range(7)]
        assert any(text in page for text in texts), texts
    assert curves == page.count('id="band-') // 2
    assert page.count("both sides of every runner</title>") == len(rows)


def test_it_names_the_warehouse_and_the_plan_and_needs_nothing_else(page: str, demo_depot: Path) -> None:
    with duckdb.connect(str(demo_depot / "warehouse.duckdb"), read_only=True) as connection:
        about = connection.execute("SELECT code_version, study_version FROM about_this_warehouse").fetchall()[0]
        (plan,) = connection.execute(
            "SELECT plan_sha256 FROM analysis_plans WHERE plan_state <> 'replaced'"
        ).fetchall()[0]
        runners = [row[0] for row in connection.execute("SELECT participant_id FROM runners").fetchall()]
    sha256 = hashlib.sha256((demo_depot / "warehouse.duckdb").read_bytes()).hexdigest()
    for word in (sha256, plan, *about):
        assert word in page
    assert not re.search(r"""(?:src|href)=["'](?!#|data:text/csv;)""", page), (
        "nothing is fetched and no link leads away"
    )
    assert "<script" not in page
    assert not [runner for runner in runners if runner in page], "runners have no name on it"


def test_of_a_release_it_says_the_same_and_names_the_release(page: str, demo_depot: Path, tmp_path: Path) -> None:
    released = tmp_path / "warehouse.duckdb"
    fill(released, demo_depot / "warehouse.duckdb", load_study(STUDY), "test")
    of_release = report(released)
    assert hashlib.sha256(released.read_bytes()).hexdigest() in of_release
    answers = [sorted(re.findall(r">([^<]*\([^<]* to [^<]*\))<", one)) for one in (page, of_release)]
    assert len(answers[0]) > 20
    assert answers[0] == answers[1]
    with duckdb.connect(str(released)) as connection:
        connection.execute("ALTER TABLE planned_contrasts DROP COLUMN condition_later_count")
    with pytest.raises(Unusable, match="another version made it"):
        report(released)


def test_ids_on_it_are_there_once(page: str) -> None:
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))


def test_nothing_is_written_over_and_a_warehouse_without_answers_is_refused(tmp_path: Path, demo_depot: Path) -> None:
    there = tmp_path / "report.html"
    there.write_text("mine")
    with pytest.raises(Unusable, match="nothing is written over"):
        write_report(demo_depot / "warehouse.duckdb", there)
    assert there.read_text() == "mine"
    with pytest.raises(Unusable, match=r"does not end in \.html"):
        write_report(demo_depot / "warehouse.duckdb", tmp_path / "report.pdf")
    with duckdb.connect(str(tmp_path / "other.duckdb")) as connection:
        connection.execute("CREATE TABLE something (number INTEGER)")
    with pytest.raises(Unusable, match="no planned answers"):
        write_report(tmp_path / "other.duckdb", tmp_path / "new.html")
    assert not (tmp_path / "new.html").exists()


def drawn(markup: object) -> tuple[list[str], str, int]:
    """Its texts, its description, and how many lines it has."""
    tree = ET.fromstring(str(markup))
    (said,) = [element.text or "" for element in tree.iter(f"{SVG}desc")]
    return [element.text or "" for element in tree.iter(f"{SVG}text")], said, len(list(tree.iter(f"{SVG}path")))


def test_a_band_tells_where_it_leaves_out_zero() -> None:
    points = [(n, n / 100, n / 100 - 0.3, n / 100 + 0.3) for n in range(101)]
    _, said, _ = drawn(band_chart("Ankle angle", "unshod less shod", "°", points, "band"))
    assert "leaves out zero at 70 of 101 points" in said
    assert "largest is 1 ° at 100 %" in said


def test_both_sides_of_runners_are_drawn_and_of_many_a_part() -> None:
    few = [(0.25, 0.24), (0.26, 0.27)]
    _, said, lines = drawn(paired_chart("Contact time", "s", ("shod", "unshod"), [("brack", few)], "p", digits=3))
    assert "brack: mean difference 0.000 of 2 runners, 1 of them with more" in said
    many = few * MOST_LINES
    _, said, more = drawn(paired_chart("Contact time", "s", ("shod", "unshod"), [("brack", many)], "p", digits=3))
    assert more - lines == MOST_LINES - len(few)
    assert f"{2 * MOST_LINES} runners" in said


def test_a_funnel_tells_which_site_lies_outside() -> None:
    sites = [("brack", 0.0, 1.0), ("corrie", 3.0, 1.0), ("tarn", -1.9, 1.0)]
    _, said, _ = drawn(funnel_chart("Contact time", "s", sites, 0.0, "f", digits=1))
    assert said.endswith("if sites did not differ: corrie.")


def test_the_flow_of_runners_tells_who_is_lost_and_in_which_analysis() -> None:
    counts = {"enrolled": 16, "not_sent": 2, "sent": 14, "none_accepted": 1, "accepted": 13, "not_compared": 1}
    analyses = [("Contact time", 12, ["unshod less shod", "1 lack it in both"])]
    texts, said, _ = drawn(participants_chart(counts | {"compared": 12}, analyses, "flow"))
    assert {"Enrolled: 16", "No running trial came: 2", "None accepted: 1", "Compared: 12"} <= set(texts)
    assert said.endswith("Contact time: 12 runners; unshod less shod; 1 lack it in both.")


@pytest.mark.parametrize(("later", "earlier"), [(0, 0), (5, 0), (0, 5), (6, 0), (1, 8), (8, 2), (30, 12), (2000, 1900)])
def test_an_order_is_told_where_a_fair_coin_would_seldom_come_down_so(later: int, earlier: int) -> None:
    count = later + earlier
    expected = count > 0 and binomtest(later, count, 0.5).pvalue < 0.05
    assert is_one_sided(later, earlier) == expected
