"""A planted text is told of by place and kind and stands nowhere in the depot but in the raw and the closed bytes."""

from __future__ import annotations

import io
import shutil
import time
import zipfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from demo_site_uploads.simulator.bags import zip_bag
from pipelines.assets.run import run
from pipelines.depot import keys
from pipelines.depot.storage import Depot, read_table
from pipelines.identity.contents import Noted, TooMuchText, search, tells
from pipelines.identity.identifiers import NOBODY, scan_path
from pipelines.lab.scrub import info_of, write_bag
from tests.delivery_builders import STUDY, a_delivery, raw_files
from tests.pipelines.identity.leaks import where_it_shows
from tests.pipelines.identity.planting import c3d_saying, with_cell

PERSON, DAY = "Ragnhild Ostervik", "14.09.2023"
VALUES = [PERSON, "Ostervik", DAY]


def rebagged(bag: Path, **more: str) -> None:
    write_bag(bag, {k: v for k, v in info_of(bag).items() if k != "Payload-Oxum"} | more)


def findings(depot: Path, name: str) -> list[dict]:
    return read_table(Depot(depot).result(name).local("findings.parquet")).to_dict("records")


def standings(depot: Path) -> list[str]:
    return sorted(read_table(Depot(depot).result("brack-001").local("standings.parquet"))["standing"])


def test_a_trial_file_that_names_somebody_is_kept_apart_and_nothing_is_derived(tmp_path: Path) -> None:
    path, content = c3d_saying(f"Recorded by {PERSON} on {DAY}")
    a_delivery(tmp_path / "inbox", replace_files={path: content})
    told = run(STUDY, tmp_path / "inbox", tmp_path / "depot", workers=1).text()
    assert standings(tmp_path / "depot") == ["accepted", "withheld"]
    found = [f for f in findings(tmp_path / "depot", "brack-001") if f["check_name"] == "trial_files_identify_nobody"]
    assert {f["weight"] for f in found} == {"withholds"}
    assert "name of a person" in " ".join(f["seen"] for f in found)
    assert "date" in " ".join(f["seen"] for f in found)
    folder = Depot(tmp_path / "depot").result("brack-001").local()
    assert not len(read_table(folder / "footfalls.parquet"))
    assert not any(
        content == Depot(tmp_path / "depot").store.local(keys.raw(s)).read_bytes()
        for s in raw_files(tmp_path / "depot")
    )
    assert where_it_shows(tmp_path / "depot", VALUES) == []
    assert not any(v in told for v in VALUES)


def test_a_comment_that_names_somebody_keeps_its_trial_out(tmp_path: Path) -> None:
    bag = a_delivery(tmp_path / "inbox")
    with_cell(bag, "trials.csv", "comment", f"{PERSON} came late on {DAY}", row=1)
    rebagged(bag)
    told = run(STUDY, tmp_path / "inbox", tmp_path / "depot", workers=1).text()
    assert standings(tmp_path / "depot") == ["accepted", "withheld"]
    assert where_it_shows(tmp_path / "depot", VALUES) == []
    assert not any(v in told for v in VALUES)


def test_a_cell_that_does_not_fit_is_not_repeated_when_it_names_somebody(tmp_path: Path) -> None:
    bag = a_delivery(tmp_path / "inbox")
    with_cell(bag, "trials.csv", "trial_order", f"see {PERSON}", row=1)
    rebagged(bag)
    told = run(STUDY, tmp_path / "inbox", tmp_path / "depot", workers=1).text()
    assert where_it_shows(tmp_path / "depot", VALUES) == []
    assert not any(v in told for v in VALUES)


@pytest.mark.parametrize("place", ["bag_info", "arrival", "zip", "file", "participant"])
def test_a_text_that_would_travel_with_every_trial_stops_the_delivery(tmp_path: Path, place: str) -> None:
    bag = a_delivery(tmp_path / "inbox", arrives_as="brack_ragnhild_ostervik" if place in ("arrival", "zip") else None)
    more = {}
    if place == "bag_info":
        more = {"Contact-Name": PERSON}
    elif place in ("arrival", "zip"):
        assert scan_path(bag.name)
    elif place == "file":
        (bag / "data" / "trials" / f"ragnhild_ostervik_{DAY}.c3d").write_bytes(b"x")
    else:
        for table in ("participants.csv", "consents.csv", "sessions.csv"):
            text = (bag / "data" / table).read_text()
            (bag / "data" / table).write_text(text.replace("FS-01,", "ragnhild-ostervik,"))
    rebagged(bag, **more)
    if place == "zip":
        zip_bag(bag, bag.with_suffix(".zip"))
        shutil.rmtree(bag)
    told = run(STUDY, tmp_path / "inbox", tmp_path / "depot", workers=1).text()
    assert "STOPPED" in told
    assert "texts_identify_nobody" in {f["check_name"] for f in findings(tmp_path / "depot", "brack-001")}
    assert not raw_files(tmp_path / "depot")
    assert where_it_shows(tmp_path / "depot", [PERSON, "Ostervik", "ragnhild", DAY]) == []
    assert not any(v.lower() in told.lower() for v in [*VALUES, "ragnhild"])


def a_bomb() -> bytes:
    """Some kilobytes that unpack to 200 MB of text."""
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for i in range(2):
            archive.writestr(f"{i}.txt", b"measured by Ragnhild Ostervik\n" * 3_300_000)
    return content.getvalue()


def test_files_of_other_kinds_are_told_and_nothing_of_them_is_kept(tmp_path: Path) -> None:
    bag = a_delivery(tmp_path / "inbox")
    others = {
        "readme.txt": f"Questions to {PERSON}, tel. 22 33 44 55".encode(),
        "staff.csv": f"name,since\n{PERSON},{DAY}\n".encode(),
        "trials/protocol of Ragnhild Ostervik.pdf": b"%PDF-1.4\n\0\xff Ostervik",
        "log.txt": f"measured by {PERSON}".encode("utf-16"),
        "more.zip": a_bomb(),
    }
    for name, content in others.items():
        (bag / "data" / name).write_bytes(content)
    rebagged(bag)
    begun = time.process_time()
    told = run(STUDY, tmp_path / "inbox", tmp_path / "depot", workers=1).text()
    assert time.process_time() - begun < 20
    assert standings(tmp_path / "depot") == ["accepted", "accepted"]
    noted = [
        f for f in findings(tmp_path / "depot", "brack-001") if f["check_name"] == "every_file_is_named_in_a_table"
    ]
    assert len(noted) == len(others)
    everything = {p: p.read_bytes() for p in (tmp_path / "depot").rglob("*") if p.is_file()}
    assert not [p for p, content in everything.items() if any(one in content for one in others.values())]
    for word in (PERSON, "Ostervik", "protocol of"):
        assert word not in told
        assert not [p for p, content in everything.items() if word.encode() in content]


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("one long line", b"x" * (3 << 20)),
        ("many lines", b"".join(b"runner %d went well\n" % i for i in range(150_000))),
        ("more lines than are read", b"\n" * 300_000),
    ],
)
def test_what_is_too_much_to_search_counts_as_telling(name: str, content: bytes) -> None:
    begun = time.process_time()
    assert tells(content, f"{name}.txt", NOBODY)
    assert time.process_time() - begun < 5


@given(st.lists(st.text("abc ", min_size=1, max_size=9).filter(str.strip), min_size=1, max_size=9), st.integers(0, 90))
def test_a_table_is_refused_at_once_if_its_different_cells_are_more_than_is_searched(
    cells: list[str], most: int
) -> None:
    noted, table = Noted(NOBODY, most), "\n".join(["comment", *cells])
    if len("comment") + sum(map(len, set(cells))) <= most:
        search(table.encode(), "trials.csv", "trials.csv", noted)
        assert {text for text, _ in noted.seen} == {"comment", *cells}
    else:
        with pytest.raises(TooMuchText):
            search(table.encode(), "trials.csv", "trials.csv", noted)
        if sum(map(len, {cell.strip() for cell in cells})) > most:
            assert {text for text, _ in noted.seen} <= {"comment"}, "no cell was searched"
