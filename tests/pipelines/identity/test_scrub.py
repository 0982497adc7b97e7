"""The laboratory's cleaned copy: nothing left to find, every measured value the same, and a bag again."""

from __future__ import annotations

import shutil
import zipfile
from pathlib import Path

import bagit
import numpy as np
import pytest

from pipelines.errors import Unusable
from pipelines.identity.edf_texts import texts_of_edf
from pipelines.identity.identifiers import NOBODY
from pipelines.identity.texts import identifying
from pipelines.intake.bag import receive
from pipelines.intake.c3d.reading import read_c3d
from pipelines.intake.identifying import identifying_in, texts_of_file
from pipelines.lab.check import check_at_the_lab
from pipelines.lab.packing.pack import pack
from pipelines.lab.scrub import _clean_recording, _Job, info_of, values_differ, write_bag
from pipelines.study.file import load_study
from tests.command_line import command
from tests.delivery_builders import STUDY, a_delivery, planned, take_in_only
from tests.pipelines.identity.planting import c3d_saying, with_cell

PERSON, DAY = "Ragnhild Ostervik", "14.09.2023"


@pytest.fixture(scope="module")
def sent(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("lab")
    path, content = c3d_saying(f"Recorded by {PERSON} on {DAY}")
    bag = a_delivery(folder / "inbox", replace_files={path: content})
    with_cell(bag, "trials.csv", "comment", f"{PERSON} was late")
    (bag / "data" / "protocol.pdf").write_bytes(b"%PDF-1.4 of nobody")
    write_bag(bag, info_of(bag) | {"Contact-Name": PERSON})
    return bag


def test_the_copy_is_clean_and_whole_and_its_values_are_the_same(sent: Path, tmp_path: Path) -> None:
    first = check_at_the_lab(sent, STUDY, out=tmp_path / "clean")
    assert first.exit_code == 1
    assert ".c3d, " in first.text
    assert "name of a person" in first.text
    assert PERSON not in first.text
    assert DAY not in first.text
    assert "left out, since the depot keeps no such file: protocol.pdf" in first.text
    bagit.Bag(str(tmp_path / "clean")).validate()
    for path in sorted((sent / "data").rglob("*.c3d")):
        old, new = read_c3d(path), read_c3d(tmp_path / "clean" / "data" / path.relative_to(sent / "data"))
        assert np.array_equal(old.points, new.points, equal_nan=True)
        assert np.array_equal(old.analog, new.analog)
        assert old.labels == new.labels
    for path in (p for p in (tmp_path / "clean").rglob("*") if p.is_file()):
        assert b"Ostervik" not in path.read_bytes()
    second = check_at_the_lab(tmp_path / "clean", STUDY)
    assert (second.exit_code, "2 accepted" in second.text) == (0, True)


def test_a_cleaned_working_folder_is_one_again_and_can_be_packed(sent: Path, tmp_path: Path) -> None:
    folder = tmp_path / "working"
    shutil.copytree(sent / "data", folder)
    told = check_at_the_lab(folder, STUDY, site="brack", out=tmp_path / "clean").text
    assert f"manystrides pack {tmp_path / 'clean'}" in told
    assert sorted(p.name for p in (tmp_path / "clean").iterdir()) == sorted(
        p.name for p in folder.iterdir() if p.name not in ("datapackage.json", "protocol.pdf")
    )
    pack(tmp_path / "clean", tmp_path / "brack-007.zip", STUDY, site="brack", number="7", contact_role="site lead")
    received, _ = receive(tmp_path / "brack-007.zip", "brack", tmp_path / "work", load_study(STUDY).study)
    assert (received.number, received.problems, received.identifying) == (7, (), ())


def test_a_trial_that_was_withheld_is_accepted_from_the_cleaned_copy_under_the_next_number(tmp_path: Path) -> None:
    """The whole way: taken in with one trial kept apart, cleaned at the laboratory, packed anew, sent."""
    inbox = tmp_path / "inbox"
    path, content = c3d_saying(f"Recorded by {PERSON} on {DAY}")
    bag = a_delivery(inbox, replace_files={path: content})
    first = take_in_only(inbox, tmp_path / "depot")
    assert "1 accepted, 0 returned, 1 withheld" in first.text()
    check_at_the_lab(bag, STUDY, out=tmp_path / "clean")
    assert info_of(tmp_path / "clean") | info_of(bag) == info_of(tmp_path / "clean")
    pack(tmp_path / "clean", inbox / "brack" / "brack-002.zip", STUDY, number="2", contact_role="site lead")
    second = take_in_only(inbox, tmp_path / "depot")
    assert "brack-002: 2 accepted, 0 returned, 0 withheld" in second.text()


def test_an_existing_folder_is_never_written_over(sent: Path, tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "thesis.txt").write_text("dear")
    with pytest.raises(Unusable):
        check_at_the_lab(sent, STUDY, out=tmp_path / "mine")
    assert (tmp_path / "mine" / "thesis.txt").read_text() == "dear"


def test_a_changed_value_is_noticed() -> None:
    content = planned("FS-01", "1")[1]
    changed = bytearray(content)
    changed[len(changed) * 3 // 4] ^= 1
    assert values_differ(content, content) is None
    assert values_differ(content, bytes(changed)) is not None


def test_text_in_bytes_that_no_part_of_the_file_uses_is_found(tmp_path: Path) -> None:
    content = planned("FS-01", "1")[1]
    path = tmp_path / "t.c3d"
    path.write_bytes(content + b"\0" * 8 + b"write to ostervik@lab.example" + b"\0" * 8)
    (found,) = identifying_in(path, "t.c3d")
    assert (found.kind, "unused bytes" in str(found.place)) == ("mail address", True)
    path.write_bytes(content)
    assert identifying_in(path, "t.c3d") == ()


def test_who_and_when_in_an_edf_header_are_found_and_the_anonymous_form_is_not() -> None:
    def header(patient: str, recording: str, start: str) -> bytes:
        return (
            f"{'0':<8}{patient:<80}{recording:<80}{start:<16}{'256':<8}{'EDF+C':<44}{'0':<8}{'1':<8}{'0':<4}".encode()
        )

    anonymous = header("X X X X", "Startdate X X X X", "01.01.8500.00.00")
    telling = header("FS-01 F 02-MAY-1951 Anneli_Tormaenen", "Startdate 14-SEP-2023 X OB X", "14.09.2311.20.00")
    assert identifying("s.edf", texts_of_edf(anonymous)) == ()
    assert {i.kind for i in identifying("s.edf", texts_of_edf(telling))} == {"name of a person", "date", "time of day"}


def test_a_cleaned_edf_file_keeps_every_sample_and_loses_who_and_when(tmp_path: Path) -> None:
    """Read again by an independent library."""
    import edfio

    edf, told, clean = (tmp_path / f"{name}.edf" for name in ("as-made", "telling", "clean"))
    edf.write_bytes(_an_edf_file())
    content = bytearray(edf.read_bytes())
    content[8:88] = f"FS-01 F 02-MAY-1951 {PERSON.replace(' ', '_')}".ljust(80).encode()
    content[88:168] = b"Startdate 14-SEP-2023 X OB X".ljust(80)
    content[168:184] = b"14.09.2311.20.00"
    told.write_bytes(content)
    assert len(identifying_in(told, "telling.edf")) >= 3
    _clean_recording(_Job(told, clean, NOBODY))
    assert identifying_in(clean, "clean.edf") == ()
    assert b"Ostervik" not in clean.read_bytes()
    before, after = edfio.read_edf(edf), edfio.read_edf(clean)
    assert [s.label for s in before.signals] == [s.label for s in after.signals]
    for one, other in zip(before.signals, after.signals, strict=True):
        assert np.array_equal(one.digital, other.digital)
        assert (one.sampling_frequency, one.physical_range) == (other.sampling_frequency, other.physical_range)


@pytest.mark.parametrize(
    ("at", "width", "place"),
    [
        (197, 39, "reserved field of the header"),
        (168, 8, "start date of the header"),
        (256 + 16 + 80, 8, "dimension of channel"),
        (256 + 104, 8, "physical minimum of channel"),
        (256 + 136, 80, "prefilter of channel"),
        (256 + 224, 32, "reserved of channel"),
        (-1, 16, "unused bytes near byte"),
    ],
)
def test_every_field_of_an_edf_header_and_what_follows_the_records_is_looked_at(
    at: int, width: int, place: str
) -> None:
    """Where the fields stand is told by the format's description (Kemp and others 1992), for the last channel."""
    content = bytearray(_an_edf_file())
    channels = int(content[252:256])
    end = 256 + (at + width - 256) * channels if at > 255 else at + width
    if at < 0:
        content += b"Frobish"
    else:
        content[end - width : end] = b"Frobish".ljust(width)
    (found,) = [text for text in texts_of_edf(bytes(content)) if "Frobish" in text.text]
    assert found.place.startswith(place)


def _an_edf_file() -> bytes:
    """The second file of one demonstration trial, from its archive."""
    with zipfile.ZipFile(STUDY.parent / "inbox" / "tarn" / "tarn-002.zip") as archive:
        name = next(n for n in archive.namelist() if n.endswith(".edf"))
        return archive.read(name)


def test_random_bytes_are_no_trouble() -> None:
    draw = np.random.default_rng(3)
    for size in (0, 1, 7, 511, 512, 513, 2048, 20_000):
        data = bytearray(draw.bytes(size))
        texts_of_file(bytes(data))
        if size > 1024:
            data[:2], data[515] = b"\x02\x50", 84
            texts_of_file(bytes(data))
        list(texts_of_edf(bytes(data)))


def test_the_command_answers_with_its_exit_code(sent: Path) -> None:
    done = command("check", sent, "--study", STUDY)
    assert (done.returncode, PERSON in done.stdout + done.stderr) == (1, False)
    assert "STOPPED" in done.stdout
    assert "The recordings were not looked into." in done.stdout
    assert ".c3d, " not in done.stdout
