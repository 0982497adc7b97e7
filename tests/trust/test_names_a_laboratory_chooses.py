"""A name that a laboratory chose and nobody has looked at is shown nowhere, whatever it names and whatever is wrong."""

from __future__ import annotations

import json
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import bagit

from demo_site_uploads.simulator.bags import zip_bag
from pipelines.assets.run import run
from pipelines.depot.storage import Depot
from tests.delivery_builders import STUDY, a_delivery, tables, take_in_only
from tests.pipelines.identity.leaks import where_it_shows
from tests.pipelines.identity.planting import with_cell
from tests.pipelines.identity.test_nothing_shows import rebagged

#: No list knows it, and nothing of its form says that it is a name.
NAME = "frobishquell"
LONG = (
    f"{NAME} and so on, longer than what a message repeats of one text, even of one that it shows in part only, as if"
)


def sent(inbox: Path, number: int, **more: Any) -> Path:
    """A delivery of one standing trial of a runner of its own: whose name is told hangs on no running one."""
    return a_delivery(inbox, number, names=("standing",), runners=(f"FS-{number:02d}",), **more)


def beside_the_payload(inbox: Path) -> None:
    bag = sent(inbox, 1)
    (bag / NAME).mkdir()
    (bag / NAME / "notes.pdf").write_bytes(b"%PDF-1.4" * 400)
    bagit.Bag(str(bag)).save(manifests=True)


def litter_in_a_folder(inbox: Path) -> None:
    bag = sent(inbox, 2)
    (bag / NAME).mkdir()
    (bag / NAME / ".DS_Store").write_bytes(b"\0\0\0\1Bud1")


def a_folder_deeper(inbox: Path) -> None:
    bag = sent(inbox, 3)
    bag.rename(bag.with_name("away"))
    (inbox / "brack" / "brack-003" / NAME).mkdir(parents=True)
    bag.with_name("away").rename(inbox / "brack" / "brack-003" / NAME / "bag")


def the_end_of_a_name(inbox: Path) -> None:
    bag = sent(inbox, 4, replace_files={"trials/x.Frob": b"frobishquell", "trials/.frobishquell": b""})
    rebagged(bag)


def a_field_of_bag_info(inbox: Path) -> None:
    rebagged(sent(inbox, 5), **{f"{NAME}-Told": "Ragnhild Ostervik"})


def a_missing_file(inbox: Path) -> None:
    bag = sent(inbox, 6, replace_files={f"trials/{NAME}.c3d": b"x"})
    (bag / "data" / "trials" / f"{NAME}.c3d").unlink()


def a_manifest(inbox: Path) -> None:
    bag = sent(inbox, 7)
    shutil.copy(bag / "manifest-sha256.txt", bag / f"manifest-{NAME}.txt")


def other_fields(inbox: Path) -> None:
    rebagged(sent(inbox, 8), Study=NAME, Site=NAME, **{"Payload-Oxum": NAME})


def the_descriptor(inbox: Path) -> None:
    bag = sent(inbox, 9)
    path = bag / "data" / "datapackage.json"
    told = json.loads(path.read_text())
    told["resources"][0]["path"] = LONG
    told[NAME] = "Ragnhild Ostervik"
    path.write_text(json.dumps(told))
    rebagged(bag)


def a_long_column(inbox: Path) -> None:
    bag = sent(inbox, 10)
    path = bag / "data" / "trials.csv"
    lines = path.read_text().splitlines()
    path.write_text("\n".join([f'{lines[0]},"{LONG}"', *(f"{line},Ragnhild Ostervik" for line in lines[1:])]))
    rebagged(bag)


def cells(inbox: Path) -> None:
    bag = sent(inbox, 11)
    with_cell(bag, "participants.csv", "habitual_footwear", LONG)
    with_cell(bag, "trials.csv", "trial_order", f"{NAME}\u200bx")
    with_cell(bag, "sessions.csv", "set_speed_m_per_s", f"3\u202e {NAME}")
    rebagged(bag)


def members_of_an_archive(inbox: Path) -> None:
    bag = sent(inbox, 12)
    with zipfile.ZipFile(zip_bag(bag, inbox / "brack" / "brack-012.zip"), "a") as archive:
        for name in (f"brack-012/../{NAME}", f"brack-012/{NAME}", f"brack-012/{NAME.upper()}", f"{NAME}/x"):
            archive.writestr(name, b"x")
    shutil.rmtree(bag)


def a_damaged_member(inbox: Path) -> None:
    bag = sent(inbox, 13, replace_files={f"trials/{NAME}.c3d": b"of one letter many" * 9})
    path = zip_bag(bag, inbox / "brack" / "brack-013.zip")
    with zipfile.ZipFile(path) as archive:
        at = next(m for m in archive.infolist() if NAME in m.filename).header_offset
    content = bytearray(path.read_bytes())
    content[at + 30 : at + 300] = content[at + 30 : at + 300].replace(NAME.encode(), NAME[::-1].encode(), 1)
    path.write_bytes(content)
    shutil.rmtree(bag)


def more_text_than_is_searched(inbox: Path) -> None:
    bag = sent(inbox, 14)
    path = bag / "data" / "sessions.csv"
    path.write_text(f"{NAME},{path.read_text()}Ragnhild Ostervik,FS-01\n" + "x" * 9_000_000)
    rebagged(bag)


def the_bags_declaration(inbox: Path) -> None:
    bag = sent(inbox, 15)
    (bag / "bagit.txt").write_text(f"BagIt-Version: 1.0\nTag-File-Character-Encoding: {NAME}\n")


WAYS: tuple[Callable[[Path], None], ...] = (
    beside_the_payload,
    litter_in_a_folder,
    a_folder_deeper,
    the_end_of_a_name,
    a_field_of_bag_info,
    a_missing_file,
    a_manifest,
    other_fields,
    the_descriptor,
    a_long_column,
    cells,
    members_of_an_archive,
    a_damaged_member,
    more_text_than_is_searched,
    the_bags_declaration,
)


def test_a_name_nobody_has_looked_at_is_shown_nowhere(tmp_path: Path) -> None:
    """All ways in one depot; where it would show names the delivery."""
    for way in WAYS:
        way(tmp_path / "inbox")
    said = take_in_only(tmp_path / "inbox", tmp_path / "depot").text()
    assert len(Depot(tmp_path / "depot").delivery_ids()) == len(WAYS)
    assert NAME not in said.lower()
    shown = where_it_shows(tmp_path / "depot", [NAME, NAME[::-1], "ostervik"])
    assert [place for place in shown if not _for_owners(place)] == []
    assert [place for place in shown if _for_owners(place)], "it is looked for in files that hold it"


def _for_owners(place: str) -> bool:
    """Whether it is the list of texts for the person who looks, or a bag's own list of files, as it came."""
    return "held_texts.json" in place or "/bag/" in place


def test_a_file_beside_the_payload_is_told_by_place_and_size_and_known_names_as_they_are(tmp_path: Path) -> None:
    for number, name in enumerate(("notes/protocol.pdf", f"{NAME}.pdf"), start=1):
        bag = sent(tmp_path / "inbox", number)
        (bag / name).parent.mkdir(exist_ok=True)
        (bag / name).write_bytes(b"%PDF-1.4" * 400)
    (bag / "Thumbs.db").write_bytes(b"\0")
    take_in_only(tmp_path / "inbox", tmp_path / "depot")
    first, second = (
        {f["seen"] for f in rows["findings"] if f["check_name"] == "every_file_is_named_in_a_table"}
        for rows in tables(tmp_path / "depot").values()
    )
    assert first == {
        "1 file lies in the bag beside its payload; it is 'notes/protocol.pdf' of 3 kB; what lies there is not kept."
    }
    assert second == {
        "1 file lies in the bag beside its payload; it is (16 characters ending in .pdf, not shown) of 3 kB; "
        "what lies there is not kept.",
        "1 file that an operating system left in the delivery, 'Thumbs.db', was passed over.",
    }


def test_an_inbox_name_that_nobody_knows_goes_by_a_number(tmp_path: Path) -> None:
    names = f"from {NAME}", "first\n99 released", "second\x1b[2Jbatch"
    for number, name in enumerate(names, start=1):
        sent(tmp_path / "inbox", number, arrives_as=name)
    (tmp_path / "inbox" / "brack" / f"{NAME}.txt").write_bytes(b"x")
    (tmp_path / "inbox" / f"{NAME}.txt").write_bytes(b"x")
    said = run(STUDY, tmp_path / "inbox", tmp_path / "depot", workers=1).text()
    assert where_it_shows(tmp_path / "depot", [NAME, *names]) == []
    assert not [name for name in (NAME, *names) if name in said]
    assert said.count(": 1 accepted") == len(names)
