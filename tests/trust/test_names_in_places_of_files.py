"""A name where no text is expected, in the structure of a file, waits for a look like every other text."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import pytest

from demo_site_uploads.simulator.bags import descriptor, zip_bag
from pipelines.assets.run import run
from pipelines.deciding.texts import decide, now, texts_of
from pipelines.depot import keys
from pipelines.depot.storage import Depot
from pipelines.intake.identifying import texts_of_file
from tests.delivery_builders import STUDY, a_delivery, planned, raw_files, tables, take_in_only, trial_id
from tests.pipelines.identity.leaks import where_it_shows
from tests.pipelines.identity.planting import with_cell
from tests.pipelines.identity.test_nothing_shows import rebagged, standings

RECORDING, CONTENT = planned("FS-01", "1")[0].file, planned("FS-01", "1")[1]
NAME = "Frobish"


def replaced(before: bytes, after: bytes) -> bytes:
    assert CONTENT.count(before) >= 1
    assert len(before) == len(after)
    return CONTENT.replace(before, after, 1)


def taken_in(folder: Path, **more: bytes) -> Depot:
    a_delivery(folder / "inbox", replace_files=more)
    take_in_only(folder / "inbox", folder / "depot")
    return Depot(folder / "depot")


def waits(depot: Depot, text: str) -> bool:
    return text.upper() in {one.text.upper() for one in texts_of(str(depot.root))}


PLACES = {
    "the name of a group": replaced(b"EZC3D", b"FROBI"),
    "the name of a parameter": replaced(b"CONTACT", b"FROBISH"),
    "the name of a parameter in small letters": replaced(b"CONTACT", b"fRobish"),
    "after the end": CONTENT + b"Frobish",
    "after the end in another writing": CONTENT + "Свиридов".encode(),
    "after the end in two bytes a letter": CONTENT + "Frobish".encode("utf-16-le"),
    "the header": CONTENT[:300] + CONTENT[300:468] + b"Frobish".ljust(44, b"\0") + CONTENT[512:],
}


@pytest.mark.parametrize("place", PLACES)
def test_each_place_of_a_recording_gives_its_text(place: str) -> None:
    texts = {text.text.upper() for text in texts_of_file(PLACES[place])}
    wanted = "СВИРИДОВ" if "writing" in place else "FROBI" if "group" in place else NAME.upper()
    assert wanted in texts


def test_a_recording_with_an_unknown_name_in_its_structure_is_kept_apart_until_somebody_allows_it(
    tmp_path: Path,
) -> None:
    a_delivery(tmp_path / "inbox", replace_files={RECORDING: PLACES["the name of a parameter"]})
    run(STUDY, tmp_path / "inbox", tmp_path / "depot", workers=1)
    depot = Depot(tmp_path / "depot")
    assert standings(depot.root) == ["accepted", "accepted"]
    assert waits(depot, NAME)
    raw = b"".join(depot.store.read(keys.raw(sha)) for sha in raw_files(depot.root))
    assert b"FROBISH" not in raw
    assert [s for s in where_it_shows(depot.root, [NAME]) if "held_texts.json" not in s] == []
    (word,) = [one.word for one in texts_of(str(depot.root)) if one.text == NAME.upper()]
    decide(str(depot.root), [word[:8]], now("It tells of nobody.", "Ann"), allowed=True)
    take_in_only(tmp_path / "inbox", depot.root)
    assert b"FROBISH" in b"".join(depot.store.read(keys.raw(sha)) for sha in raw_files(depot.root))


def test_a_name_in_the_descriptor_is_found_though_its_key_stands_twice(tmp_path: Path) -> None:
    told = descriptor("test").decode()
    twice = told.replace("{", '{"title": "frobish quell", "title": "x",', 1)
    assert json.loads(twice)["title"] == json.loads(told).get("title", "x")
    depot = taken_in(tmp_path, **{"datapackage.json": twice.encode()})
    assert waits(depot, "frobish quell")
    assert b"frobish" not in b"".join(depot.store.read(keys.raw(sha)) for sha in raw_files(depot.root))


def test_a_trial_whose_code_holds_an_unknown_word_waits_for_a_look(tmp_path: Path) -> None:
    bag = a_delivery(tmp_path / "inbox")
    odd = "FS-01-Crumblethwaite"
    with_cell(bag, "trials.csv", "trial_id", odd, row=1)
    rebagged(bag)
    run(STUDY, tmp_path / "inbox", tmp_path / "depot", workers=1)
    depot = Depot(tmp_path / "depot")
    assert standings(depot.root) == ["accepted", "withheld"]
    assert [s for s in where_it_shows(depot.root, [odd]) if "held_texts.json" not in s and "books" not in s] == []
    told = [f["seen"] for f in tables(depot.root)["brack-001"]["findings"] if f["weight"] == "withholds"]
    assert len(told) == 1
    assert "a word that nobody has looked at" in told[0]
    (word,) = [one.word for one in texts_of(str(depot.root)) if one.text == odd]
    decide(str(depot.root), [word[:8]], now("A hill, not a person.", "Ann"), allowed=True)
    take_in_only(tmp_path / "inbox", depot.root)
    assert {r["trial_id"] for r in tables(depot.root)["brack-001"]["standings"]} == {trial_id("standing"), odd}


def test_what_an_archive_says_beside_its_files_is_kept_nowhere(tmp_path: Path) -> None:
    bag = a_delivery(tmp_path / "inbox", names=("standing",))
    archive = zip_bag(bag, tmp_path / "inbox" / "brack" / "brack-001.zip")
    rebuilt = tmp_path / "with.zip"
    with zipfile.ZipFile(archive) as old, zipfile.ZipFile(rebuilt, "w") as new:
        new.comment = NAME.encode()
        for one in old.infolist():
            one.comment, one.extra = NAME.encode(), b"\xfe\xca" + len(NAME).to_bytes(2, "little") + NAME.encode()
            new.writestr(one, old.read(one.filename))
    (tmp_path / "in" / "brack").mkdir(parents=True)
    rebuilt.rename(tmp_path / "in" / "brack" / "brack-001.zip")
    run(STUDY, tmp_path / "in", tmp_path / "depot", workers=1)
    assert standings(tmp_path / "depot") == ["accepted"]
    everything = [p for p in (tmp_path / "depot").rglob("*") if p.is_file()]
    assert [p for p in everything if NAME.encode() in p.read_bytes()] == []


def test_a_word_of_our_own_sentence_stays_though_a_held_text_is_the_same(tmp_path: Path) -> None:
    bag = a_delivery(tmp_path / "inbox", names=("standing", "1"), faulty={"1": "heavy"})
    words = {w for f in _findings(tmp_path / "first", bag) for w in f["remedy"].split() if w.isalpha() and len(w) > 6}
    word = sorted(words)[0]
    with_cell(bag, "trials.csv", "comment", word, row=0)
    rebagged(bag)
    rows = _findings(tmp_path / "second", bag)
    assert any(word in row["remedy"] for row in rows)
    assert not any("characters" in row["remedy"] for row in rows)


def _findings(folder: Path, bag: Path) -> list[dict[str, str]]:
    take_in_only(bag.parents[1], folder)
    return [row for row in tables(folder)["brack-001"]["findings"] if row["trial_id"]]


def test_a_word_outside_a_closed_list_can_be_looked_up_by_its_mark(tmp_path: Path) -> None:
    bag = a_delivery(tmp_path / "inbox", names=("standing",))
    with_cell(bag, "participants.csv", "habitual_footwear", "Lorimerius")
    rebagged(bag)
    take_in_only(tmp_path / "inbox", tmp_path / "depot")
    told = " ".join(row["seen"] for row in tables(tmp_path / "depot")["brack-001"]["findings"])
    listed = {one.text: one.word for one in texts_of(str(tmp_path / "depot"))}
    assert "Lorimerius" not in told
    assert "Lorimerius" in listed


def test_a_descriptor_that_is_no_text_is_kept_apart_until_somebody_has_looked(tmp_path: Path) -> None:
    content = descriptor("test").decode().encode("utf-16-le") + "Frobish".encode("utf-16-le")
    depot = taken_in(tmp_path, **{"datapackage.json": content})
    raw = [depot.store.read(keys.raw(sha)) for sha in raw_files(depot.root)]
    assert content not in raw
