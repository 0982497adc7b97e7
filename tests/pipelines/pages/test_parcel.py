"""The parcel for a laboratory: whole in itself, with everything that waits for it, and with nothing of another one."""

from __future__ import annotations

import csv
import zipfile
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest

from pipelines.errors import Unusable
from pipelines.pages.parcel import write_parcel
from tests.command_line import command
from tests.delivery_builders import STUDY
from tests.pipelines.pages import small_warehouse as small
from tests.pipelines.pages.reading_html import read
from tests.pipelines.pages.test_pages import hostile_rows


def parcel(tmp_path: Path, rows: small.Rows, site: str = "mill") -> Path:
    """The unpacked parcel."""
    warehouse = small.build(tmp_path / "warehouse.duckdb", rows)
    made = write_parcel(warehouse, small.loaded_study(), site, tmp_path / "parcel.zip")
    with zipfile.ZipFile(made) as opened:
        opened.extractall(tmp_path / "out")
    return tmp_path / "out"


def test_it_holds_page_sheets_table_and_letter_of_everything_the_laboratory_has_to_send(tmp_path: Path) -> None:
    folder = parcel(tmp_path, small.example())
    assert {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()} == {
        "index.html", "letter.txt", "returns.csv", "fix/gap.html", "fix/drift.html",
    }  # fmt: skip
    letter = (folder / "letter.txt").read_text(encoding="utf-8")
    assert letter.startswith("Subject: A test study: 2 trials to send again (mill)\n")
    assert "in delivery number 3 or later" in " ".join(letter.split())
    assert max(map(len, letter.splitlines())) <= 72
    with (folder / "returns.csv").open(encoding="utf-8-sig", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert {row["trial_id"] for row in rows if row["task"] == "send"} == {"gap", "drift"}
    assert not any("manystrides accept" in value for row in rows for value in row.values())


@pytest.mark.parametrize("rows", [small.example, hostile_rows], ids=["usual", "hostile"])
def test_every_link_leads_to_a_file_of_the_parcel(rows, tmp_path: Path) -> None:
    folder = parcel(tmp_path, rows())
    links = 0
    for path in folder.rglob("*.html"):
        for element in (e for e in read(path).all("a") if "download" not in e.attributes):
            parts = urlsplit(element.attributes["href"])
            assert not parts.scheme
            assert not parts.path or (path.parent / unquote(parts.path)).resolve().is_file(), (path, parts.path)
            links += bool(parts.path)
    assert links


def test_nothing_of_another_laboratory_is_in_it(tmp_path: Path) -> None:
    folder = parcel(tmp_path, small.example(), "way")
    text = "".join(p.name + p.read_text(encoding="utf-8") for p in folder.rglob("*") if p.is_file())
    assert "way-002" in text, "its own stopped delivery"
    for other in ("mill", "drift", ">gap<", "unknown-1"):
        assert other not in text


def test_a_bag_in_another_sites_inbox_is_in_both_parcels_and_neither_names_the_other(tmp_path: Path) -> None:
    name = "misplaced-bag"
    bag = small.delivery(name, "way", None, "stopped", named_site="mill", arrived_as="bag.zip")
    held = small.delivery("misplaced-copy", "way", None, "stopped", named_site="mill", arrived_as="copy.zip")
    found = [
        small.finding("m1", name, None, "bag_info_names_site_and_number", "stops", site="way", place="Site"),
        small.finding("m2", name, None, "keys_are_unique", "stops", site="way"),
        small.finding("m3", "misplaced-copy", None, "bag_info_names_site_and_number", "stops", site="way"),
    ]
    for site, other in (("mill", "way"), ("way", "mill")):
        place = tmp_path / site
        place.mkdir()
        folder = parcel(place, small.merged(small.study_rows(), {"deliveries": [bag, held], "findings": found}), site)
        text = "".join(p.name + p.read_text(encoding="utf-8") for p in folder.rglob("*") if p.is_file())
        assert (folder / "fix" / f"{name}.html").is_file()
        assert "Seen m1." in text
        assert "1 delivery to send again" in (folder / "letter.txt").read_text(encoding="utf-8")
        for apart in (f">{other}<", "m2", "m3", "misplaced-copy"):
            assert apart not in text


def test_a_laboratory_with_nothing_to_send_gets_a_letter_that_says_so(tmp_path: Path) -> None:
    rows = small.merged(small.study_rows(), {"deliveries": [small.delivery("mill-001", "mill", 1)]})
    letter = (parcel(tmp_path, rows) / "letter.txt").read_text(encoding="utf-8")
    assert "Nothing has to be sent again" in letter


def test_the_same_warehouse_gives_the_same_parcel_and_nothing_is_written_over(tmp_path: Path) -> None:
    parcel(tmp_path, small.example())
    study, warehouse = small.loaded_study(), tmp_path / "warehouse.duckdb"
    again = write_parcel(warehouse, study, "mill", tmp_path / "again.zip")
    assert again.read_bytes() == (tmp_path / "parcel.zip").read_bytes()
    with pytest.raises(Unusable, match="nothing is written over"):
        write_parcel(warehouse, study, "mill", again)
    with pytest.raises(Unusable, match=r"no site 'moon'.*one of mill, way"):
        write_parcel(warehouse, study, "moon", tmp_path / "other.zip")
    assert not (tmp_path / "other.zip").exists()


def test_the_command_says_what_is_missing(tmp_path: Path) -> None:
    done = command("send", "brack", "--to", tmp_path / "p.zip", "--study", STUDY, "--depot", tmp_path / "depot")
    assert done.returncode == 2
    assert "manystrides run" in done.stderr
    assert list(tmp_path.iterdir()) == []
