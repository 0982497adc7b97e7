"""Packing a working folder: what comes out is what the depot takes in, and nothing else is touched."""

from __future__ import annotations

import os
import resource
import shutil
import zipfile
from pathlib import Path

import bagit
import pandas as pd
import pytest

from pipelines.errors import Unusable
from pipelines.intake.bag import receive
from pipelines.lab.check import check_at_the_lab
from pipelines.lab.packing.pack import pack
from pipelines.lab.scrub import info_of, write_bag
from pipelines.study.file import load_study
from schemas.received import Received
from tests.command_line import command, program
from tests.delivery_builders import REPO, STUDY, a_delivery

INBOX = REPO / "demo_site_uploads" / "inbox"
GIVEN = {"site": "brack", "number": "1", "contact_role": "site lead"}
OPTIONS = ("--site", "brack", "--number", "1", "--contact-role", "site lead", "--study", str(STUDY))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A laboratory's working folder: tables at the top, recordings in a folder of another name than the tables say."""
    bag = a_delivery(tmp_path / "made")
    working = tmp_path / "working"
    shutil.copytree(bag / "data", working)
    (working / "datapackage.json").unlink()
    (working / "trials").rename(working / "export of the week")
    shutil.rmtree(tmp_path / "made")
    return working


def everything(folder: Path) -> dict[str, tuple[bytes, int]]:
    files = sorted(p for p in folder.rglob("*") if p.is_file())
    return {p.relative_to(folder).as_posix(): (p.read_bytes(), p.stat().st_mtime_ns) for p in files}


def opened(path: Path, site: str, work: Path) -> Received:
    return receive(path, site, work, load_study(STUDY).study)[0]


@pytest.mark.parametrize("ending", ["", ".zip"])
@pytest.mark.parametrize("name", ["tarn/tarn-001", "corrie/corrie-001"])
def test_a_demo_delivery_unpacked_and_packed_again_is_received_as_the_same(
    name: str, ending: str, tmp_path: Path
) -> None:
    site = name.partition("/")[0]
    with zipfile.ZipFile(INBOX / f"{name}.zip") as archive:
        archive.extractall(tmp_path)
    bag = tmp_path / name.partition("/")[2]
    working = tmp_path / "working"
    shutil.copytree(bag / "data", working)
    for i, path in enumerate(sorted((working / "trials").iterdir())):  # where a laboratory keeps them is its own matter
        place = working / f"day {i % 3}" / path.suffix.lstrip(".")
        place.mkdir(parents=True, exist_ok=True)
        path.rename(place / path.name)
    done = pack(working, tmp_path / f"again{ending}", STUDY, site=site, number="1", contact_role="site lead")
    before, after = opened(bag, site, tmp_path / "a"), opened(done.path, site, tmp_path / "b")
    assert after.problems == before.problems == ()
    assert after.identifying == ()
    assert (after.site, after.number) == (before.site, before.number)
    described = "datapackage.json"
    assert [f for f in after.files if f.path != described] == [f for f in before.files if f.path != described]
    assert len(after.files) > 10
    for table, frame in before.tables.items():
        pd.testing.assert_frame_equal(after.tables[table], frame)


def test_what_is_packed_passes_the_check_and_is_a_valid_bag(folder: Path, tmp_path: Path) -> None:
    done = pack(folder, tmp_path / "brack-001", STUDY, **GIVEN)
    bagit.Bag(str(done.path)).validate()
    info = bagit.Bag(str(done.path)).info
    assert (info["Contact-Role"], info["Site"], info["Delivery-Number"]) == ("site lead", "brack", "1")
    checked = check_at_the_lab(done.path, STUDY)
    assert (checked.exit_code, "2 accepted" in checked.text) == (0, True), checked.text
    assert "export of the week" in done.text


def test_a_plain_folder_is_checked_as_it_would_be_packed(folder: Path) -> None:
    checked = check_at_the_lab(folder, STUDY, "brack")
    assert (checked.exit_code, "2 accepted" in checked.text) == (0, True), checked.text


def test_the_working_folder_stays_as_it_was(folder: Path, tmp_path: Path) -> None:
    before = everything(folder)
    pack(folder, tmp_path / "out.zip", STUDY, **GIVEN)
    with pytest.raises(Unusable):
        pack(folder, folder / "inside.zip", STUDY, **GIVEN)
    assert everything(folder) == before


@pytest.mark.parametrize("there", ["a file", "a folder", "an empty folder"])
def test_nothing_is_written_over(folder: Path, tmp_path: Path, there: str) -> None:
    out = tmp_path / "out"
    if there == "a file":
        out.write_text("dear")
    else:
        out.mkdir()
        if there == "a folder":
            (out / "thesis.txt").write_text("dear")
    with pytest.raises(Unusable, match="written over"):
        pack(folder, out, STUDY, **GIVEN)
    assert out.read_text() == "dear" if out.is_file() else [p.read_text() for p in out.iterdir()] in (["dear"], [])


def _c3d_files(folder: Path) -> list[Path]:
    return sorted(folder.rglob("*.c3d"))


def _without_a_column(folder: Path) -> None:
    table = pd.read_csv(folder / "sessions.csv").drop(columns="visit")
    table.to_csv(folder / "sessions.csv", index=False)


def _without_a_trial(folder: Path) -> None:
    _c3d_files(folder)[0].unlink()


def _without_a_table(folder: Path) -> None:
    (folder / "consents.csv").unlink()


def _twice_the_same_name(folder: Path) -> None:
    first = _c3d_files(folder)[0]
    (folder / "old").mkdir()
    shutil.copyfile(first, folder / "old" / first.name)


def _two_tables(folder: Path) -> None:
    (folder / "old").mkdir()
    shutil.copyfile(folder / "trials.csv", folder / "old" / "trials.csv")


def _one_file_for_two_names(folder: Path) -> None:
    name = _c3d_files(folder)[0].name
    text = (folder / "trials.csv").read_text()
    other = _c3d_files(folder)[1].name
    (folder / "trials.csv").write_text(text.replace(f"trials/{other}", f"old/{name}"))


def _a_link(folder: Path) -> None:
    first = _c3d_files(folder)[0]
    first.rename(folder.parent / first.name)
    first.symlink_to(folder.parent / first.name)


def _a_path_out_of_the_folder(folder: Path) -> None:
    text = (folder / "trials.csv").read_text()
    (folder / "trials.csv").write_text(text.replace("trials/", "../trials/", 1))


def _a_person_in_a_file_name(folder: Path) -> None:
    first = _c3d_files(folder)[0]
    named = first.with_name("Anneli Tormaenen.c3d")
    first.rename(named)
    text = (folder / "trials.csv").read_text()
    (folder / "trials.csv").write_text(text.replace(first.name, named.name))


def _a_person_in_a_comment(folder: Path) -> None:
    table = pd.read_csv(folder / "trials.csv", dtype=str)
    table["comment"] = "Anneli Tormaenen was late"
    table.to_csv(folder / "trials.csv", index=False)


FAULTS = {
    _without_a_column: "column visit is missing",
    _without_a_trial: "is not in the folder",
    _without_a_table: "consents.csv is missing",
    _twice_the_same_name: "could be",
    _two_tables: "more than one trials.csv",
    _one_file_for_two_names: "one file for two names",
    _a_link: "is a link",
    _a_path_out_of_the_folder: "leads out of the delivery",
    _a_person_in_a_file_name: "may identify a person",
    _a_person_in_a_comment: "column comment: name of a person",
}


@pytest.mark.parametrize("fault", FAULTS, ids=lambda f: f.__name__.strip("_"))
def test_a_folder_with_a_fault_is_refused_in_plain_words_and_leaves_nothing(
    folder: Path, tmp_path: Path, fault
) -> None:
    fault(folder)
    out = tmp_path / "out"
    out.mkdir()
    with pytest.raises(Unusable) as refused:
        pack(folder, out / "brack-001.zip", STUDY, **GIVEN)
    assert FAULTS[fault] in str(refused.value)
    assert "Tormaenen" not in str(refused.value)
    assert "What to do" in str(refused.value)
    assert list(out.iterdir()) == []


def test_all_faults_of_a_folder_are_told_at_once(folder: Path, tmp_path: Path) -> None:
    _without_a_column(folder)
    _without_a_trial(folder)
    with pytest.raises(Unusable) as refused:
        pack(folder, tmp_path / "out", STUDY, **GIVEN)
    assert "2 faults" in str(refused.value)
    assert "column visit is missing" in str(refused.value)
    assert "is not in the folder" in str(refused.value)


def test_files_that_no_table_names_are_listed_and_left_out_unless_asked_for(folder: Path, tmp_path: Path) -> None:
    (folder / "plan of the room.txt").write_text("three plates in a row")
    (folder / ".hidden").write_text("x")
    done = pack(folder, tmp_path / "without", STUDY, **GIVEN)
    assert "plan of the room.txt" in done.text
    assert not list(done.path.rglob("*plan*"))
    whole = pack(folder, tmp_path / "with", STUDY, **GIVEN, include=True)
    assert (whole.path / "data" / "plan of the room.txt").read_text() == "three plates in a row"
    assert not list(whole.path.rglob(".hidden"))
    bagit.Bag(str(whole.path)).validate()


def test_a_cell_that_cannot_be_used_is_told_but_packed_since_check_judges_it(folder: Path, tmp_path: Path) -> None:
    table = pd.read_csv(folder / "sessions.csv", dtype=str)
    table["mass_kg"] = "heavy"
    table.to_csv(folder / "sessions.csv", index=False)
    done = pack(folder, tmp_path / "out", STUDY, **GIVEN)
    assert "'heavy'" in done.text
    assert check_at_the_lab(done.path, STUDY).exit_code == 1


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"site": "elsewhere"}, "no site of the study"),
        ({"number": "0"}, "no delivery number"),
        ({"number": "two"}, "no delivery number"),
        ({"contact_role": "Anneli Tormaenen"}, "a person's name"),
        ({"contact_role": " "}, "empty"),
    ],
)
def test_what_a_delivery_says_of_itself_must_be_possible(
    folder: Path, tmp_path: Path, given: dict[str, str], told: str
) -> None:
    with pytest.raises(Unusable, match=told):
        pack(folder, tmp_path / "out", STUDY, **GIVEN | given)
    assert not (tmp_path / "out").exists()


def test_without_a_terminal_every_missing_option_is_named_and_the_code_is_2(folder: Path, tmp_path: Path) -> None:
    done = command("pack", folder, "--to", tmp_path / "out.zip", "--study", STUDY, "--number", "1")
    assert done.returncode == 2
    assert "--site" in done.stderr
    assert "--contact-role" in done.stderr
    assert "--number" not in done.stderr
    assert not (tmp_path / "out.zip").exists()


def test_at_a_terminal_it_asks_for_what_is_missing_and_asks_again_after_a_wrong_answer(
    folder: Path, tmp_path: Path
) -> None:
    ours, theirs = os.openpty()
    os.write(ours, b"nowhere\nbrack\n7\nsite lead\n")
    done = program("pack", folder, "--to", tmp_path / "out", "--study", STUDY, stdin=theirs)
    os.close(ours)
    os.close(theirs)
    assert done.returncode == 0, done.stderr
    assert "no site of the study" in done.stdout
    assert bagit.Bag(str(tmp_path / "out")).info["Delivery-Number"] == "7"


def test_a_full_disk_leaves_nothing_half_written(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    limit = max(p.stat().st_size for p in folder.rglob("*")) // 2
    done = program(
        "pack",
        folder,
        "--to",
        out / "brack-001.zip",
        *OPTIONS,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit)),
    )
    assert done.returncode == 2
    assert "The system refused" in done.stderr
    assert list(out.iterdir()) == []


def test_a_bag_is_packed_anew_under_another_number_and_keeps_its_role(tmp_path: Path) -> None:
    bag = a_delivery(tmp_path / "inbox")
    write_bag(bag, info_of(bag) | {"Contact-Role": "data manager"})
    pack(bag, tmp_path / "out", STUDY, number="5")
    again = opened(tmp_path / "out", "brack", tmp_path / "work")
    assert (again.problems, again.site, again.number) == ((), "brack", 5)
    assert again.bag_info["Contact-Role"] == "data manager"
    with pytest.raises(Unusable, match="--number"):
        pack(bag, tmp_path / "another", STUDY)
