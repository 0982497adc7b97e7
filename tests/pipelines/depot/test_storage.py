"""The depot's ways of writing: whole or not at all, and only what fits the definitions."""

from __future__ import annotations

import hashlib
import stat
from pathlib import Path

import pandas as pd
import pyarrow.parquet as parquet
import pytest

from pipelines.depot import keys
from pipelines.depot.disk import write_bytes
from pipelines.depot.storage import Depot, read_table, write_table
from pipelines.errors import Unusable
from schemas.core import CONDITIONS, VISITS


def test_a_table_comes_back_as_it_was_with_its_words(tmp_path: Path) -> None:
    rows = pd.DataFrame({"visit": ["first", "last"], "planned_week": [0, 10]})
    write_table(VISITS, rows, tmp_path / "visits.parquet")
    assert read_table(tmp_path / "visits.parquet").to_dict("list") == rows.to_dict("list")
    column = parquet.read_schema(tmp_path / "visits.parquet").field("planned_week")
    assert column.metadata[b"description"].decode() == VISITS.column("planned_week").description


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        ({"visit": ["a", "a"], "planned_week": [0, 1]}, "repeat a key"),
        ({"visit": ["a"], "planned_week": [0.5]}, "planned_week"),
        ({"visit": ["a"]}, "missing column"),
        ({"visit": [None], "planned_week": [1]}, "null"),
    ],
    ids=["key twice", "fraction for a whole number", "column missing", "null in a key"],
)
def test_a_table_that_does_not_fit_is_refused_and_nothing_is_left(tmp_path: Path, rows: dict, told: str) -> None:
    with pytest.raises(ValueError, match=told):
        write_table(VISITS, pd.DataFrame(rows), tmp_path / "visits.parquet")
    assert list(tmp_path.iterdir()) == []


def test_an_empty_table_keeps_its_columns_and_types(tmp_path: Path) -> None:
    write_table(VISITS, pd.DataFrame({"visit": [], "planned_week": []}), tmp_path / "v.parquet")
    assert [str(t) for t in parquet.read_schema(tmp_path / "v.parquet").types] == ["string", "int64"]


def test_a_failed_write_leaves_the_old_file_and_no_rest(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "a.json"
    write_bytes(target, b"old")

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr("os.fsync", full)
        with pytest.raises(OSError, match="No space"):
            write_bytes(target, b"new")
    assert [p.name for p in tmp_path.iterdir()] == ["a.json"]
    assert target.read_bytes() == b"old"


def test_raw_bytes_are_stored_once_read_only_and_only_if_the_checksum_fits(tmp_path: Path) -> None:
    depot = Depot(tmp_path / "depot")
    source = tmp_path / "file"
    source.write_bytes(b"signal")
    sha = hashlib.sha256(b"signal").hexdigest()
    depot.store_raw(source, sha)
    place = depot.root / "raw" / sha[:2] / sha
    assert place.read_bytes() == b"signal"
    assert not place.stat().st_mode & (stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH)
    first = place.stat().st_mtime_ns
    depot.store_raw(source, sha)
    assert place.stat().st_mtime_ns == first
    with pytest.raises(Unusable, match="changed while it was taken in"):
        depot.store_raw(source, "0" * 64)
    assert not depot.store.local(keys.raw("0" * 64)).exists()
    assert list(depot.work.iterdir()) == []


def test_closed_bytes_are_for_the_depots_owner_only(tmp_path: Path) -> None:
    depot = Depot(tmp_path / "depot")
    (tmp_path / "file").write_bytes(b"signal")
    sha = hashlib.sha256(b"signal").hexdigest()
    depot.store_closed(tmp_path / "file", "d-001", sha)
    place = depot.root / "closed" / "d-001" / sha
    assert stat.S_IMODE(place.stat().st_mode) == stat.S_IRUSR
    for folder in (place.parent, place.parent.parent):
        assert stat.S_IMODE(folder.stat().st_mode) == stat.S_IRWXU


def test_a_rest_of_a_killed_run_is_cleared(tmp_path: Path) -> None:
    depot = Depot(tmp_path / "depot")
    (depot.new_work("d-001") / "x").write_text("half")
    with depot.writing("ann"):
        assert list(depot.work.iterdir()) == []
        assert depot.delivery_ids() == []


def test_a_file_url_is_a_folder_and_a_bucket_is_refused_with_what_to_do(tmp_path: Path) -> None:
    assert Depot(f"file://{tmp_path}/depot").root == tmp_path / "depot"
    for url in ("s3://bucket/depot", "memory://depot", "nonsense://x"):
        with pytest.raises(Unusable, match="not a folder on this machine"):
            Depot(url)


def test_tables_of_different_definitions_do_not_mix(tmp_path: Path) -> None:
    rows = pd.DataFrame({"visit": ["a"], "planned_week": [0]})
    with pytest.raises(ValueError, match="unknown column"):
        write_table(CONDITIONS, rows.rename(columns={"visit": "condition"}), tmp_path / "c.parquet")
