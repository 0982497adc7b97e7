"""What is left of a runner is found, and what is met by chance is nobody's rest."""

from __future__ import annotations

import random
from datetime import UTC, datetime
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as parquet
import pytest

from pipelines.depot.search_bytes import files_with
from pipelines.depot.storage import Depot
from pipelines.pages.drafts import draft
from pipelines.pages.parcel import as_zip


@pytest.fixture
def depot(tmp_path: Path) -> Depot:
    place = Depot(tmp_path / "depot")
    with place.writing("tester"):
        pass
    return place


def holds(depot: Depot, word: str) -> list[str]:
    return [path.name for path in files_with(depot, [word])[1]]


@pytest.mark.parametrize("word", ["P1", "P01", "FS-01", "7", "1007"])
def test_random_bytes_and_numbers_in_tables_and_pages_hold_nobody(depot: Depot, word: str) -> None:
    letters = f",{word}," if word.isdigit() else ""
    depot.store.put(
        "raw/ab/signal", bytes([0, 255]) + random.Random(1).randbytes(1 << 20) + word.encode() + b"\xfe\xff"
    )
    depot.store.put("pages/index.html", f"<td>{word if word.isdigit() else 'x'}</td>".encode())
    depot.store.put("raw/ab/table", f"trial_id,study_day,mass\nA-1,3{letters}4\n".encode())
    assert holds(depot, word) == []


@pytest.mark.parametrize("word", ["P1", "P01", "FS-01", "7", "1007"])
def test_a_code_is_found_in_every_kind_of_table_however_short(depot: Depot, word: str, tmp_path: Path) -> None:
    depot.store.put("raw/ab/runners", f"sex,participant_id\nfemale,{word}\n".encode())
    depot.store.put("raw/ab/trials", f"trial_id,session_id\nA-1,{word}-w5\n".encode())
    parquet.write_table(pa.table({"participant_id": ["A", word]}), tmp_path / "t")
    depot.store.put("deliveries/x/runners.parquet", (tmp_path / "t").read_bytes())
    depot.store.put("raw/ab/others", f"participant_id\nX{word}\n{word}1\n".encode())
    assert sorted(holds(depot, word)) == ["runners", "runners.parquet", "trials"]


@pytest.mark.parametrize("word", ["P01", "FS-01"])
def test_a_code_is_found_in_texts_and_between_nulls(depot: Depot, word: str) -> None:
    depot.store.put("pages/index.html", f"<p>{word} ran</p>".encode())
    depot.store.put("raw/ab/other", b"\xff\x00" + word.encode() + b"\x00\xfe")
    depot.store.put("raw/ab/packed", b"\xff\x00" + f"x{word}".encode() + b"\x00\xfe")
    assert sorted(holds(depot, word)) == ["index.html", "other"]


def test_sessions_and_trials_that_are_numbered_are_no_runner(depot: Depot) -> None:
    depot.store.put("raw/ab/trials", b"trial_id,session_id,participant_id\n1,1,12\n2,1-2,3\n")
    assert holds(depot, "2") == []
    assert holds(depot, "1") == ["trials"]


def test_what_is_packed_into_a_parcel_and_again_into_a_mail_is_found(depot: Depot) -> None:
    parcel = as_zip([("fix/sheet.html", "<p>FS-01 ran</p>"), ("fix/FS-02.html", "")])
    depot.store.put("outbox/brack/brack-returns.zip", parcel)
    mail = draft("Subject: FS-03 went\nDear all, FS-04.\n", parcel, "p.zip", "0" * 64, datetime.now(UTC), "", "")
    depot.store.put("outbox/brack/letter.eml", mail)
    assert b"FS-01" not in parcel + mail, "packed"
    assert sorted(holds(depot, "FS-01")) == sorted(holds(depot, "FS-02")) == ["brack-returns.zip", "letter.eml"]
    assert holds(depot, "FS-03") == holds(depot, "FS-04") == ["letter.eml"]
    assert holds(depot, "FS-05") == []
