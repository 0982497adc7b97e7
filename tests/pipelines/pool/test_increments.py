"""A warehouse brought up to date holds what one made anew would hold, and nothing of what had to go."""

from __future__ import annotations

import shutil
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import duckdb
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.depot.storage import Depot
from pipelines.pool.build import Built, build_warehouse
from pipelines.pool.filling import warehouse_tables
from pipelines.study.file import load_study
from tests.delivery_builders import STUDY
from tests.pipelines.pool.small_depot import Parcel, Sent, SmallDepot
from tests.tries import tries

LOADED = load_study(STUDY)
RUNNERS = ("FS-01", "FS-02", "FS-03")
FIRST = Parcel("brack", 1, (Sent("T1", "FS-01"), Sent("T2", "FS-02")), (("FS-01", 1), ("FS-03", 1)))


def built(small: SmallDepot, *, anew: bool = False) -> Built:
    return build_warehouse(small.depot, LOADED, "0", small.results, small.published(), anew=anew)


def content(warehouse: Path) -> dict[str, list[tuple[Any, ...]]]:
    """The rows of every table, in an order that does not depend on how they came in."""
    names = [t.name for t in warehouse_tables()]
    names += [f"made_from.{name}" for name in ("results", "trial_values", "named")]
    with duckdb.connect(str(warehouse), read_only=True) as connection:
        return {name: connection.execute(f"SELECT * FROM {name} ORDER BY ALL").fetchall() for name in names}


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> SmallDepot:
    """The warehouse of one delivery. Nobody may write into it."""
    depot = SmallDepot(Depot(tmp_path_factory.mktemp("first") / "depot"))
    depot.put(FIRST)
    built(depot)
    return depot


@pytest.fixture
def small(first: SmallDepot, tmp_path: Path) -> SmallDepot:
    return SmallDepot(Depot(shutil.copytree(first.depot.root, tmp_path / "depot")), dict(first.results))


def column(small: SmallDepot, sql: str) -> list[Any]:
    with duckdb.connect(str(small.depot.warehouse), read_only=True) as connection:
        return [row[0] for row in connection.execute(sql).fetchall()]


_sent = st.builds(
    Sent,
    st.sampled_from(["T1", "T2", "T3", "T4"]),
    st.sampled_from(RUNNERS),
    st.sampled_from(["accepted", "accepted", "returned", "withheld"]),
    st.sampled_from([0.2, 0.3]),
    st.sampled_from(["cushioned", "unshod"]),
)
_parcels = st.builds(
    Parcel,
    st.sampled_from(["brack", "corrie"]),
    st.integers(1, 4),
    st.lists(_sent, max_size=3, unique_by=lambda t: t.trial).map(tuple),
    st.lists(st.tuples(st.sampled_from(RUNNERS), st.integers(1, 2)), max_size=2, unique=True).map(tuple),
    st.sampled_from([60.0, 70.0]),
)
#: A delivery comes or is judged again; a runner withdraws; a delivery is taken out.
_events = st.lists(st.one_of(_parcels, _parcels, st.sampled_from(RUNNERS), st.integers(0, 3)), min_size=2, max_size=4)


@tries(3)
@given(_events)
def test_any_history_ends_in_the_warehouse_that_is_made_anew(events: list[Parcel | str | int]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        small = SmallDepot(Depot(folder))
        kept: dict[str, Parcel] = {}
        gone: set[str] = set()
        for event in events:
            if isinstance(event, Parcel):
                for runner in gone:
                    event = event.without(runner)
                kept[event.delivery_id] = event
                small.put(event)
            elif isinstance(event, str):
                gone.add(event)
                for name, parcel in kept.items():
                    if parcel.without(event) != parcel:
                        kept[name] = parcel.without(event)
                        small.put(kept[name])
            elif kept:
                name = sorted(kept)[event % len(kept)]
                del kept[name]
                small.drop(name)
            built(small)
            bytes_now = small.depot.warehouse.read_bytes()
            assert not [runner for runner in gone if runner.encode() in bytes_now]
        step_by_step = content(small.depot.warehouse)
        assert built(small, anew=True).anew
        assert step_by_step == content(small.depot.warehouse)


def test_a_new_delivery_is_brought_in_without_the_others_being_read_again(small: SmallDepot) -> None:
    for path in small.depot.result("brack-001").local().glob("*.parquet"):
        path.write_bytes(b"not to be read")
    small.put(Parcel("brack", 2, (Sent("T3", "FS-04"),)))
    assert not built(small).anew
    assert column(small, "SELECT trial_id FROM trials ORDER BY ALL") == ["T1", "T2", "T3"]


def test_a_trial_sent_again_takes_the_place_of_its_older_version(small: SmallDepot) -> None:
    small.put(Parcel("brack", 2, (Sent("T1", "FS-01", value=0.3),)))
    assert not built(small).anew
    assert column(small, "SELECT contact_time_s FROM footfalls WHERE trial_id = 'T1'") == pytest.approx([0.31, 0.32])
    assert column(small, "SELECT superseded FROM standings WHERE trial_id = 'T1' ORDER BY delivery_id") == [True, False]


def test_rows_of_a_runner_come_in_with_the_first_accepted_trial_also_from_older_deliveries(small: SmallDepot) -> None:
    assert column(small, "SELECT DISTINCT participant_id FROM reported_weeks") == ["FS-01"]
    small.put(Parcel("brack", 2, (Sent("T3", "FS-03"),)))
    assert not built(small).anew
    assert column(small, "SELECT participant_id FROM reported_weeks ORDER BY ALL") == ["FS-01", "FS-03"]


def test_a_trial_that_is_accepted_afterwards_comes_in_without_the_rest_being_made_anew(small: SmallDepot) -> None:
    parcel = Parcel("brack", 2, (Sent("T3", "FS-02", "returned"), Sent("T4", "FS-02")))
    small.put(parcel)
    built(small)
    findings = column(small, "SELECT finding_id FROM findings WHERE trial_id = 'T3'")
    small.put(replace(parcel, trials=(replace(parcel.trials[0], standing="accepted"), parcel.trials[1])))
    assert built(small).anew, "its finding is gone"
    assert findings == ["brack-002-T3"]
    small.put(replace(parcel, number=3, trials=(Sent("T5", "FS-02"),)))
    built(small)
    small.put(replace(parcel, number=3, trials=(Sent("T5", "FS-02"), Sent("T6", "FS-02"))))
    assert not built(small).anew, "it only holds more"
    assert column(small, "SELECT trial_id FROM trials ORDER BY ALL") == ["T1", "T2", "T3", "T4", "T5", "T6"]


@pytest.mark.parametrize(
    "parcel",
    [
        replace(FIRST, trials=(FIRST.trials[0], replace(FIRST.trials[1], standing="withheld"))),
        replace(FIRST, trials=FIRST.trials[:1]),
        replace(FIRST, weeks=()),
        replace(FIRST, mass_kg=71.0),
    ],
    ids=["withheld", "gone", "without its log", "told otherwise"],
)
def test_where_something_is_lost_nothing_of_it_stays_in_the_file(small: SmallDepot, parcel: Parcel) -> None:
    small.put(parcel)
    assert built(small).anew


def test_a_trial_withheld_by_a_later_delivery_is_not_left_in_the_file(small: SmallDepot) -> None:
    small.put(Parcel("brack", 2, (Sent("T2", "FS-02", "withheld"),)))
    small.put(replace(FIRST, trials=(FIRST.trials[0], replace(FIRST.trials[1], standing="withheld"))))
    assert built(small).anew
    assert b"FS-02" not in small.depot.warehouse.read_bytes()


def test_readers_of_the_old_file_never_meet_a_half_of_the_new_one(small: SmallDepot) -> None:
    with duckdb.connect(str(small.depot.warehouse), read_only=True) as reader:
        small.put(Parcel("brack", 2, (Sent("T3", "FS-04"),)))
        assert not built(small).anew
        assert reader.execute("SELECT count(*) FROM trials").fetchall() == [(2,)]
    assert column(small, "SELECT count(*) FROM trials") == [3]


def test_another_code_or_a_damaged_file_makes_it_anew(small: SmallDepot) -> None:
    assert not built(small).anew
    assert build_warehouse(small.depot, LOADED, "1", small.results, small.published()).anew
    small.depot.warehouse.write_bytes(b"damaged" * 1000)
    assert built(small).anew


def test_many_updates_do_not_make_the_file_grow_without_end(small: SmallDepot) -> None:
    sizes = []
    for number in range(2, 8):
        small.put(Parcel("brack", number, (Sent("T1", "FS-01", value=number / 10),)))
        assert not built(small).anew
        sizes.append(small.depot.warehouse.stat().st_size)
    assert max(sizes[2:]) < 1.5 * max(sizes[:2])  # it is used up and made room in by turns


def test_a_key_that_stands_twice_is_refused(small: SmallDepot) -> None:
    before = small.depot.warehouse.read_bytes()
    small.put(Parcel("corrie", 1, (Sent("T9", "FS-01", "returned"),)))
    path = small.depot.result("corrie-001").local("findings.parquet")
    with duckdb.connect() as connection:
        connection.execute(
            f"COPY (SELECT * FROM '{path}' UNION ALL SELECT * FROM '{path}') TO '{path}.twice' (FORMAT parquet)"
        )
    Path(f"{path}.twice").replace(path)
    with pytest.raises(ValueError, match="findings: rows repeat a key"):
        built(small)
    assert small.depot.warehouse.read_bytes() == before
