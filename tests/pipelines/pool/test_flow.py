"""Who is counted: everybody a delivery names and consent allows to count, and how far they came."""

from __future__ import annotations

from pathlib import Path

from pipelines.depot.storage import Depot
from pipelines.pool.build import build_warehouse
from pipelines.pool.query import open_read_only
from pipelines.study.file import load_study
from tests.pipelines.pool.small_depot import Parcel, Sent, SmallDepot
from tests.pipelines.study.test_study_file import DEMO

LOADED = load_study(DEMO)


def flow(small: SmallDepot) -> dict[str, dict[str, int]]:
    build_warehouse(small.depot, LOADED, "0", small.results, small.published())
    sites: dict[str, dict[str, int]] = {}
    with open_read_only(small.depot.warehouse) as connection:
        for site, stage, count in connection.execute(
            "SELECT site, stage, runner_count FROM participant_flow"
        ).fetchall():
            sites.setdefault(site, {})[stage] = count
    return sites


def test_runners_without_a_trial_are_in_the_denominator_and_one_at_two_sites_counts_once_in_all(tmp_path: Path) -> None:
    small = SmallDepot(Depot(tmp_path))
    small.put(
        Parcel(
            "brack",
            1,
            (
                Sent("T1", "FS-01"),
                Sent("T2", "FS-01", condition="thin_soled"),
                Sent("T3", "FS-02"),
                Sent("T4", "FS-03", standing="returned"),
            ),
            weeks=(("FS-04", 1),),
        )
    )
    small.put(Parcel("tarn", 1, (Sent("T5", "FS-01"),), weeks=(("FS-05", 1),)))
    found = flow(small)
    assert found["brack"] == {
        "enrolled": 4,
        "not_sent": 1,
        "sent": 3,
        "none_accepted": 1,
        "accepted": 2,
        "compared": 0,
        "not_compared": 2,
    }
    assert (found["tarn"]["enrolled"], found["tarn"]["accepted"]) == (2, 1)
    assert (found["all sites"]["enrolled"], found["all sites"]["accepted"]) == (5, 2)


def test_who_withdrew_is_no_more_in_the_denominator_nor_in_the_file(tmp_path: Path) -> None:
    small = SmallDepot(Depot(tmp_path))
    parcel = Parcel("brack", 1, (Sent("T1", "FS-01"), Sent("T2", "FS-02")), weeks=(("FS-09", 1),))
    small.put(parcel)
    assert flow(small)["all sites"]["enrolled"] == 3
    small.put(parcel.without("FS-09"))
    assert flow(small)["all sites"]["enrolled"] == 2
    assert b"FS-09" not in small.depot.warehouse.read_bytes()
