"""Whole sites checked while the warehouse is built: equipment by session, rows under a name of their own, repeatable."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import duckdb
import pytest

from checks.findings import Stamp
from checks.registry import Subject, catalogue
from pipelines.pages import write_pages
from pipelines.pool import made_from
from pipelines.pool.beside import Beside
from pipelines.pool.site_checks import check_sites, fill_site_checks, site_rows_id
from pipelines.pool.site_tables import control_points, device_sessions, pooled_tables
from schemas.convert.to_frictionless import IDENTIFIER_PATTERN
from tests.builders import a_study
from tests.checks.site_cases import SITE_CHECKS
from tests.pipelines.pages import small_warehouse as small

STAMP = Stamp("test", "1")


def session(site: str, number: int, *, force: float | None = None, ppm: list[tuple[float, float]] = []) -> small.Rows:  # noqa: B006
    """One session of one runner: a standing trial and two running; the leg is marked over 0.9 of its length."""
    runner, own, day = f"{site}-P{number}", f"{site}-S{number}", 0
    delivery_id = f"{site}-{1 + number // 4:03d}"
    keys = {"session_id": own, "participant_id": runner, "site": site, "visit": "first", "condition": "shod"}
    stature, leg = 1.6 + 0.01 * number, 0.8 + 0.01 * number
    return {
        "runners": [{"participant_id": runner, "delivery_id": delivery_id, "stature_m": stature, "mass_kg": 60.0 + 0.1 * number, "leg_length_m": leg}],
        "sessions": [{**keys, "delivery_id": delivery_id, "study_day": day, "mass_kg": 60.0 + 0.1 * number} | {"condition": None}],
        "trials": [
            {**keys, "trial_id": f"{own}-stand", "kind": "standing", "delivery_id": delivery_id},
            *({**keys, "trial_id": f"{own}-{n}", "kind": "running", "delivery_id": delivery_id} for n in (1, 2)),
        ],
        "equipment_readings": [
            {"trial_id": f"{own}-stand", "device": "cameras", "marker_scale_ratio": 0.9},
            *({"trial_id": f"{own}-{n}", "device": "all_plates", "scale_ratio": force} for n in (1, 2)),
            *(
                {"trial_id": f"{own}-{n}", "device": "second_clock", "clock_drift_ppm": drift, "clock_drift_error_ppm": error}
                for n, (drift, error) in enumerate(ppm, 1)
            ),
        ],
    }  # fmt: skip


def a_warehouse(path: Path, *parts: small.Rows) -> Path:
    rows = small.merged(small.study_rows(), *parts)
    for part in rows.get("sessions", []):
        part.pop("condition", None)
    numbers = {(r["delivery_id"], r["site"]) for r in rows.get("sessions", [])}
    rows["deliveries"] = [small.delivery(name, site, int(name[-3:])) for name, site in sorted(numbers)]
    small.build(path, rows)
    with duckdb.connect(str(path)) as connection:
        made_from.begin(connection)
    return path


@pytest.fixture(scope="module")
def beside() -> Iterator[Beside]:
    with Beside() as process:
        yield process


@pytest.fixture
def drifting(tmp_path: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    """Twelve sessions at mill about 1 body weight, then two 5 % above; one session at way."""
    values = [1.0, 1.002, 0.998, 1.001, 0.999, 1.0, 1.003, 0.998, 1.002, 1.0, 1.001, 0.999, 1.05, 1.051]
    sessions = [session("mill", n, force=value) for n, value in enumerate(values)]
    path = a_warehouse(tmp_path / "warehouse.duckdb", *sessions, session("way", 0, ppm=[(100.0, 10.0), (0.0, 20.0)]))
    with duckdb.connect(str(path)) as connection:
        yield connection


def values_of(connection: duckdb.DuckDBPyConnection, site: str, quantity: str) -> list[float]:
    rows = device_sessions(connection)
    own = rows[(rows["site"] == site) & (rows["quantity"] == quantity)]
    assert own["point_number"].tolist() == list(range(1, len(own) + 1))
    return own["measured_value"].round(6).tolist()


def test_quantities_are_session_means_and_a_precise_clock_fit_counts_more(drifting) -> None:
    assert values_of(drifting, "mill", "force_scale_ratio")[-2:] == [1.05, 1.051]
    assert values_of(drifting, "mill", "marker_scale_ratio") == [0.9] * 14
    assert values_of(drifting, "way", "second_clock_drift_ppm") == [80.0], "weights 1/100 and 1/400: 100 x 4/5"
    assert values_of(drifting, "way", "force_scale_ratio") == []


def test_a_trial_that_is_sent_again_does_not_move_its_session(drifting) -> None:
    before = device_sessions(drifting)["session_id"].tolist()
    drifting.execute("UPDATE trials SET delivery_id = 'mill-004' WHERE trial_id = 'mill-S1-2'")
    drifting.execute("UPDATE sessions SET delivery_id = 'mill-004' WHERE session_id = 'mill-S1'")
    assert device_sessions(drifting)["session_id"].tolist() == before


def test_points_carry_the_limits_of_their_own_site_only(drifting) -> None:
    points = control_points(device_sessions(drifting)).set_index(["site", "quantity", "point_number"]).sort_index()
    mill = points.loc[("mill", "force_scale_ratio")]
    assert mill["is_baseline"].tolist() == [True] * 10 + [False] * 4
    assert mill["centre_value"].notna().all()
    assert (mill["measured_value"] > mill["upper_limit_value"]).tolist() == [False] * 12 + [True] * 2
    assert points.loc[("way", "marker_scale_ratio"), "centre_value"].isna().all()


def test_findings_runs_expectations_and_charts_are_kept_under_the_sites_own_name(drifting, beside) -> None:
    fill_site_checks(drifting, a_study(), STAMP, beside)
    ended = drifting.sql("SELECT delivery_id, subject, check_name, status FROM check_runs").fetchall()
    assert {(d, s) for d, s, _, _ in ended} == {("site.mill", "mill"), ("site.way", "way")}
    assert sorted(check for d, _, check, _ in ended if d == "site.way") == sorted(SITE_CHECKS)
    (found,) = drifting.sql("SELECT delivery_id, site, trial_id, check_name, weight, seen FROM findings").fetchall()
    assert found[:5] == ("site.mill", "mill", None, "force_keeps_its_scale_over_sessions", "notes")
    assert "mill-S13" in found[5]
    (kept,) = drifting.sql(
        "SELECT site, measured, observed_value, is_met, answer_json FROM site_expectations WHERE NOT is_met"
    ).fetchall()
    assert kept[:4] == ("mill", "force_scale_ratio", 2.0, False)
    assert "unexpected_list" not in kept[4], "single values stay in the tables they come from"
    assert drifting.sql("SELECT count(*) FROM site_control_points").fetchall() == [(14 + 14 + 1 + 1,)]


def test_checks_are_run_again_only_if_what_they_look_at_is_another(drifting, beside) -> None:
    fill_site_checks(drifting, a_study(), STAMP, beside)
    made_up = "UPDATE check_runs SET reason = 'not made again'"
    left = "SELECT count(*) FROM check_runs WHERE reason = 'not made again'"
    drifting.execute(made_up)
    fill_site_checks(drifting, a_study(), STAMP, beside)
    assert drifting.execute(left).fetchall() == [(2 * len(SITE_CHECKS),)]
    drifting.execute("UPDATE equipment_readings SET scale_ratio = scale_ratio + 0.1")
    fill_site_checks(drifting, a_study(), STAMP, beside)
    assert drifting.execute(left).fetchall() == [(0,)]


def test_the_same_pool_gives_the_same_rows(drifting) -> None:
    first, second = (check_sites(a_study(), pooled_tables(drifting), STAMP) for _ in range(2))
    assert {site: (r.findings, r.runs, r.evidence) for site, r in first.items()} == {
        site: (r.findings, r.runs, r.evidence) for site, r in second.items()
    }


def test_pages_can_be_written_from_it(drifting, beside, tmp_path: Path) -> None:
    fill_site_checks(drifting, a_study(), STAMP, beside)
    drifting.close()
    places = small.Places(tmp_path / "pages", tmp_path / "warehouse.duckdb")
    page = (write_pages(places, small.loaded_study()).parent / "sites" / "mill.html").read_text(encoding="utf-8")
    assert "Beyond the limits: session 13" in page


def test_an_empty_warehouse_is_checked_without_a_crash_and_nothing_passes(beside, tmp_path: Path) -> None:
    with duckdb.connect(str(a_warehouse(tmp_path / "warehouse.duckdb"))) as connection:
        fill_site_checks(connection, a_study(), STAMP, beside)
        assert connection.sql("SELECT DISTINCT status FROM check_runs").fetchall() == [("skipped",)]


def test_the_name_of_a_sites_rows_is_an_identifier_that_no_delivery_has() -> None:
    """Deliveries are named site-number or site-unnumbered-name; a site's rows have a dot there."""
    import re

    assert re.fullmatch(IDENTIFIER_PATTERN, site_rows_id("mill"))
    assert "-" not in site_rows_id("mill")


def test_every_check_of_a_whole_site_is_a_note() -> None:
    assert {spec.weight for spec in catalogue().values() if spec.about is Subject.SITE} == {"notes"}


def test_a_process_that_breaks_is_an_error_and_no_silence(beside) -> None:
    seen = beside.begin(len, None)  # stands for any fault of ours
    with pytest.raises(RuntimeError, match="not carried out"):
        seen()
