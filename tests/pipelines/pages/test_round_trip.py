"""The way of returned trials: what came when, what is open since when, and ages that do not depend on today."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipelines.pages.facts import Facts, read_facts
from pipelines.pages.round_trip import days_between, open_returns, round_trips
from tests.builders import a_study
from tests.pipelines.pages import small_warehouse as small
from tests.pipelines.pages.test_pages import read, table, write

GAPS, ZERO = "marker_gaps_are_short", "plates_read_zero_unloaded"


def came(trial: str, *versions: tuple[int, str], **more: object) -> small.Rows:
    """A trial of mill, one version for each (delivery number, standing); each is received on day 10 plus its number."""
    last = versions[-1][0]
    return {
        "standings": [
            small.standing(f"mill-{n:03d}", trial, word, superseded=n != last, **more) for n, word in versions
        ],
        "findings": [
            small.finding(f"f-{trial}-{n}", f"mill-{n:03d}", trial, GAPS) for n, word in versions if word == "returned"
        ],
    }


def deliveries(*numbers: int) -> small.Rows:
    return {"deliveries": [small.delivery(f"mill-{n:03d}", "mill", n) for n in numbers]}


def facts(tmp_path: Path, *rows: small.Rows) -> Facts:
    return read_facts(small.build(tmp_path / "w.duckdb", small.merged(small.study_rows(), *rows)), a_study())


def test_a_mended_trial_tells_its_whole_way(tmp_path: Path) -> None:
    (trip,) = round_trips(
        facts(tmp_path, deliveries(1, 4, 9), came("T1", (1, "returned"), (4, "returned"), (9, "accepted")))
    )
    assert [(leg.delivery_id, leg.standing, leg.returned_for) for leg in trip.legs] == [
        ("mill-001", "returned", (GAPS,)),
        ("mill-004", "returned", (GAPS,)),
        ("mill-009", "accepted", ()),
    ]
    assert trip.went_back.delivery_id == "mill-001"
    assert [leg.delivery_id for leg in trip.sent_again] == ["mill-004", "mill-009"]
    assert (trip.is_open, trip.open_since, trip.days_to_mend) == (False, None, 8)


def test_an_open_trial_is_open_since_it_first_went_back_and_not_since_the_last_try(tmp_path: Path) -> None:
    own = facts(tmp_path, deliveries(1, 4, 12), came("T1", (1, "returned"), (4, "returned")))
    (trip,) = round_trips(own)
    assert trip.open_since is not None
    assert trip.open_since.delivery_id == "mill-001"


def test_a_change_that_went_back_leaves_the_accepted_version_in_force(tmp_path: Path) -> None:
    rows = came("T1", (1, "accepted"), (4, "returned"))
    rows["standings"][0]["superseded"] = False
    (trip,) = round_trips(facts(tmp_path, deliveries(1, 4), rows))
    assert trip.still_in_force is not None
    assert trip.still_in_force.delivery_id == "mill-001"
    assert trip.open_since is not None
    assert trip.open_since.delivery_id == "mill-004"


def test_trials_that_never_went_back_or_are_withheld_are_not_told(tmp_path: Path) -> None:
    rows = (came("good", (1, "accepted")), came("secret", (1, "returned"), (2, "withheld")))
    assert round_trips(facts(tmp_path, deliveries(1, 2), *rows)) == []


def test_open_trials_come_first_and_the_oldest_of_them_at_the_top(tmp_path: Path) -> None:
    rows = (
        came("mended", (1, "returned"), (2, "accepted")),
        came("new", (3, "returned")),
        came("old", (2, "returned")),
    )
    assert [t.trial_id for t in round_trips(facts(tmp_path, deliveries(1, 2, 3), *rows))] == ["old", "new", "mended"]


def test_each_site_has_its_open_returns_with_the_oldest_and_the_usual_time(tmp_path: Path) -> None:
    rows = (
        came("a", (1, "returned"), (2, "accepted")),
        came("b", (1, "returned"), (6, "accepted")),
        came("c", (2, "returned")),
        came("d", (6, "returned")),
    )
    mill, way = open_returns(facts(tmp_path, deliveries(1, 2, 6), *rows), ["mill", "way"])
    assert (mill.count, mill.mended, mill.usual_days) == (2, 2, 3.0)
    assert mill.oldest is not None
    assert mill.oldest.trial_id == "c"
    assert (way.count, way.oldest, way.mended, way.usual_days) == (0, None, 0, None)


@pytest.mark.parametrize(
    ("earlier", "later", "days"),
    [
        ("2026-03-01T00:00:00Z", "2026-03-02T12:00:00Z", 1.5),
        ("2026-03-01T00:00:00+00:00", "2026-03-01T01:00:00+01:00", 0),
        ("2026-03-02T00:00:00", "2026-03-01T00:00:00", 0),
        ("2026-03-02", "soon", None),
        ("", "2026-03-02", None),
    ],
)
def test_days_are_counted_between_times_that_can_be_read(earlier: str, later: str, days: float | None) -> None:
    assert days_between(earlier, later) == days


def test_an_unreadable_time_is_not_the_newest(tmp_path: Path) -> None:
    rows = {"deliveries": [small.delivery("mill-001", "mill", 1, received_utc="<once>")]}
    assert facts(tmp_path, rows, came("T1", (1, "returned"))).newest_utc == ""


def test_the_pages_show_the_way_the_age_and_the_labs_own_words(tmp_path: Path) -> None:
    again = came("T1", (1, "returned"), (4, "accepted"))
    again["standings"][1]["resend_reason"] = "Labels <b>exchanged</b>."
    rows = small.merged(small.study_rows(), deliveries(1, 4, 12), again, came("T2", (4, "returned")))
    folder = write(tmp_path, rows)
    site = read(folder / "sites" / "mill.html")
    (mended,) = table(site, "Every trial that went back and was sent again")
    (waiting,) = table(site, "Trials that went back and have not been sent again yet")
    assert waiting[0].startswith("T2")
    assert "open since 2026-03-14" in waiting[-1], "how long ago is counted where the page is read"
    assert "mill-004, 2026-03-14: ● accepted “Labels <b>exchanged</b>.”" in " ".join(mended[2].split())
    assert "after 3 days" in mended[-1]
    (row,) = table(site, "Open returns by site")
    assert row[:2] == ["mill", "1"]
    assert row[3] == "since 2026-03-14"
    assert not site.all("b")
