"""What of the bag's own files is kept: manifests without lines of files that are not, bag-info without other fields."""

from __future__ import annotations

from pathlib import Path

import bagit
import pytest

from pipelines.depot.books.rows import Payload
from pipelines.taking_in.keeping import copy_tag_files

STORED = {"trials/a b.c3d": b"recording", "trials.csv": b"trial_id\n"}
INFO = {"Site": "brack", "Delivery-Number": "3"}


def a_bag(folder: Path, others: dict[str, bytes], info: dict[str, str]) -> Path:
    for name, content in {**STORED, **others}.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    bagit.make_bag(str(folder), dict(info), checksums=["sha256"])  # it adds fields to what it is given
    return folder / "data"


def kept(content: Path, target: Path) -> dict[str, str]:
    target.mkdir()
    copy_tag_files(content, target, Payload(dict.fromkeys(STORED, "")), INFO)
    return {path.name: path.read_text() for path in target.iterdir()}


def test_a_bag_of_which_all_is_kept_stays_as_it_came_but_for_fields_nobody_reads(tmp_path: Path) -> None:
    content = a_bag(tmp_path / "bag", {}, INFO)
    files = kept(content, tmp_path / "kept")
    assert files["manifest-sha256.txt"] == (content.parent / "manifest-sha256.txt").read_text()
    assert "Bagging-Date" not in files["bag-info.txt"]
    assert "Payload-Oxum: 18.2" in files["bag-info.txt"]


def test_a_bag_with_what_is_left_out_is_whole_without_it(tmp_path: Path) -> None:
    content = a_bag(tmp_path / "bag", {"log of Anna.txt": b"Anna"}, {**INFO, "Contact-Name": "Anna", "Note": "blue"})
    files = kept(content, tmp_path / "kept")
    assert "Anna" not in "".join(files.values())
    assert "blue" not in "".join(files.values())
    for name, stored in STORED.items():
        path = tmp_path / "kept" / "data" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(stored)
    assert bagit.Bag(str(tmp_path / "kept")).is_valid()


@pytest.mark.parametrize("between", ["  ", "\t", " *", "  ./"])
def test_lines_of_manifests_are_read_however_checksum_and_path_are_parted(tmp_path: Path, between: str) -> None:
    content = a_bag(tmp_path / "bag", {"log.txt": b"x"}, INFO)
    manifest = content.parent / "manifest-sha256.txt"
    manifest.write_text(manifest.read_text().replace("  data/", f"{between}data/") + "\n")
    lines = kept(content, tmp_path / "kept")["manifest-sha256.txt"].splitlines()
    assert [line.partition("data/")[2] for line in lines if line] == sorted(STORED)
