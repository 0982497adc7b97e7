"""The kit of a laboratory: whole by itself, of nobody else, with tables that load as they are, and known again in a bag."""

from __future__ import annotations

import csv
import io
import json
import shutil
import zipfile
from pathlib import Path

import pytest
from openpyxl import load_workbook

from pipelines.assets.run import run
from pipelines.errors import Unusable
from pipelines.intake.tables import read_tables
from pipelines.judging.packed_with import CODE, JUDGED_AS, KIT, STUDY_FILE, kept, older, stamped
from pipelines.lab.kit.examples import runner_code
from pipelines.lab.kit.kit import write_kit
from pipelines.lab.kit.templates import delivery_tables, explained
from pipelines.lab.kit.wheel import wheel_bytes
from pipelines.lab.packing.pack import pack
from pipelines.study.file import load_study
from schemas.study_codes import StudyCodes
from tests.builders import a_study
from tests.command_line import command
from tests.delivery_builders import STUDY, a_delivery
from tests.pipelines.taking_in.a_place import with_study


@pytest.fixture(scope="module")
def kit(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The unpacked kit of brack."""
    folder = tmp_path_factory.mktemp("kit")
    done = command("kit", "brack", "--to", folder / "kit.zip", "--study", STUDY)
    assert done.returncode == 0, done.stderr
    with zipfile.ZipFile(folder / "kit.zip") as opened:
        opened.extractall(folder)
    return folder / "kit-brack"


def test_its_study_file_is_whole_names_only_this_laboratory_and_judges_it_in_the_same_way(kit: Path) -> None:
    own, whole = load_study(kit / "study.yaml"), load_study(STUDY)
    assert list(own.study.sites) == ["brack"]
    assert stamped(own, "brack")[JUDGED_AS] == stamped(whole, "brack")[JUDGED_AS]
    text = "".join(p.read_text(encoding="utf-8") for p in kit.rglob("*") if p.suffix in (".yaml", ".txt", ".csv"))
    assert "corrie" not in text
    assert "tarn" not in text
    assert not (kit / "names.txt").exists()


def test_the_example_rows_load_without_a_problem(kit: Path, tmp_path: Path) -> None:
    payload = Path(shutil.copytree(kit / "tables", tmp_path / "data"))
    read = read_tables(payload)
    assert list(read.problems) == []
    assert {name: len(rows) for name, rows in read.frames.items()} == {t.name: 1 for t in delivery_tables()}


def exported(book: bytes, folder: Path) -> Path:
    """Each sheet as a spreadsheet saves it as CSV: what its cells show."""
    folder.mkdir()
    for sheet in load_workbook(io.BytesIO(book)).worksheets:
        with (folder / f"{sheet.title}.csv").open("w", encoding="utf-8-sig", newline="") as stream:
            rows = [["" if cell.value is None else str(cell.value) for cell in row] for row in sheet.iter_rows()]
            csv.writer(stream).writerows(rows)
    return folder


def test_the_workbook_exports_to_the_same_rows_and_keeps_what_is_typed_as_text(kit: Path, tmp_path: Path) -> None:
    content = (kit / "tables.xlsx").read_bytes()
    book = load_workbook(io.BytesIO(content))
    assert {cell.number_format for sheet in book.worksheets for row in sheet.iter_rows() for cell in row} == {"@"}
    book["participants"]["A2"].value = "007"
    typed = io.BytesIO()
    book.save(typed)
    from_book = exported(typed.getvalue(), tmp_path / "typed")
    (from_book / "columns.csv").unlink()
    first = read_tables(from_book).frames["sent_participants"]
    assert list(first["participant_id"]) == ["007"]
    assert list(first["mass_kg"]) == [68.5]
    plain = exported(content, tmp_path / "plain")
    (plain / "columns.csv").unlink()
    shutil.copytree(kit / "tables", tmp_path / "data")
    as_csv, as_book = read_tables(tmp_path / "data"), read_tables(plain)
    assert [p for p in as_book.problems if p.kind != "blank"] == []
    for name, rows in as_csv.frames.items():
        assert rows.equals(as_book.frames[name]), name


def test_every_column_is_explained_with_its_unit_its_words_and_whether_it_must_be_filled_in() -> None:
    study = a_study()
    heading, *rows = explained(study, "mill")
    told = {(row[0], row[1]): dict(zip(heading, row, strict=True)) for row in rows}
    assert set(told) == {(t.file_name, f.name) for t in delivery_tables() for f in t.fields}
    assert told["participants.csv", "stature_m"]["unit"] == "m"
    assert told["trials.csv", "condition"]["allowed"] == "One of: shod, unshod."
    assert told["trials.csv", "comment"]["must_be_filled_in"] == "no"
    assert told["sessions.csv", "visit"]["must_be_filled_in"] == "yes"
    assert all(row["what_it_is"].endswith(".") for row in told.values())
    assert all(row["example"] for row in told.values() if row["must_be_filled_in"] == "yes")


@pytest.mark.parametrize(
    ("form", "code"), [("FS-[0-9]{2,5}", "FS-01"), ("R[0-9]{4}", "R0001"), ("", "P01"), ("[0-9]{3}", "001")]
)
def test_the_example_runner_has_a_code_as_the_study_writes_them(form: str, code: str) -> None:
    assert runner_code(a_study(codes=StudyCodes(runner=form))) == code


def test_the_same_settings_give_the_same_kit_and_what_cannot_be_used_is_refused(tmp_path: Path) -> None:
    first, again = (write_kit(STUDY, "corrie", tmp_path / name) for name in ("a.zip", "b.zip"))
    assert (first.version, first.path.read_bytes()) == (again.version, again.path.read_bytes())
    with pytest.raises(Unusable, match=r"no site 'moon'.*brack, corrie, tarn"):
        write_kit(STUDY, "moon", tmp_path / "c.zip")
    with pytest.raises(Unusable, match="nothing is written over"):
        write_kit(STUDY, "corrie", tmp_path / "a.zip")
    with pytest.raises(Unusable, match="no wheel"):
        write_kit(STUDY, "corrie", tmp_path / "c.zip", STUDY)
    assert {p.name for p in tmp_path.iterdir()} == {"a.zip", "b.zip"}


def a_wheel(path: Path, name: str = "manystrides", version: str = "1.0") -> Path:
    with zipfile.ZipFile(path, "w") as made:
        made.writestr(
            f"{name}-{version}.dist-info/METADATA", f"Metadata-Version: 2.1\nName: {name}\nVersion: {version}\n"
        )
    return path


def test_only_a_wheel_of_ours_that_pip_would_take_is_enclosed(tmp_path: Path) -> None:
    ours = a_wheel(tmp_path / "manystrides-1.0-py3-none-any.whl")
    assert wheel_bytes(ours) == ours.read_bytes()
    (tmp_path / "bad.whl").write_text("x\n")
    cut = tmp_path / "cut.whl"
    cut.write_bytes(ours.read_bytes()[:-9])
    for path, seen in (
        (tmp_path / "bad.whl", "cannot be opened"),
        (cut, "cannot be opened"),
        (a_wheel(tmp_path / "other-1.0-py3-none-any.whl", "other"), "a wheel of other"),
        (a_wheel(tmp_path / "renamed.whl"), "It was renamed"),
    ):
        with pytest.raises(Unusable, match=seen):
            write_kit(STUDY, "corrie", tmp_path / "kit.zip", path)
    assert not (tmp_path / "kit.zip").exists()


def test_a_kit_with_an_unfinished_profile_says_so_to_both_sides(tmp_path: Path) -> None:
    study = with_study(tmp_path)
    (study / "sites" / "corrie.yaml").write_text("site: corrie\n#? marker_rate_hz: 200\n", encoding="utf-8")
    made = write_kit(study / "study.yaml", "corrie", tmp_path / "kit.zip")
    assert made.lacks is not None
    assert "The profile of site corrie is a draft" in made.lacks
    with zipfile.ZipFile(made.path) as opened:
        page = opened.read("kit-corrie/START_HERE.txt").decode()
    assert "The profile of corrie is not finished" in page
    assert "VERSION" not in page


def test_a_bag_tells_kit_code_and_study_and_its_receipt_says_if_they_are_old(kit: Path, tmp_path: Path) -> None:
    bags = [a_delivery(tmp_path / runner, names=("standing",), runners=(runner,)) for runner in ("FS-01", "FS-02")]
    inbox = tmp_path / "inbox" / "brack"
    inbox.mkdir(parents=True)
    old = Path(shutil.copytree(kit, tmp_path / "old_kit"))
    text = (old / "study.yaml").read_text(encoding="utf-8")
    (old / "study.yaml").write_text(
        text.replace("contact_threshold_n: 20", "contact_threshold_n: 25"), encoding="utf-8"
    )
    for number, bag, folder in (("1", bags[0], kit), ("2", bags[1], old)):
        pack(bag, inbox / f"brack-00{number}", folder / "study.yaml", number=number)
    info = (inbox / "brack-001" / "bag-info.txt").read_text(encoding="utf-8")
    fields = kept(dict(line.split(": ", 1) for line in info.splitlines()))
    told = json.loads((kit / "kit.json").read_text(encoding="utf-8"))
    assert set(fields) == {CODE, STUDY_FILE, KIT, JUDGED_AS}
    assert (fields[KIT], fields[STUDY_FILE]) == (told["kit_version"], load_study(STUDY).version)
    run(STUDY, tmp_path / "inbox", tmp_path / "depot", "tester", workers=1)
    receipts = {p.stem: " ".join(p.read_text().split()) for p in (tmp_path / "depot" / "outbox").rglob("receipts/*")}
    assert "older kit" not in receipts["brack-001"]
    assert "An older kit It was packed and checked with" in receipts["brack-002"]


def test_nothing_is_told_of_a_bag_of_other_tools_and_nothing_a_bag_makes_up() -> None:
    study = load_study(STUDY)
    assert older(study, "brack")({}) is None
    assert kept({"Packed-With": "Ann.Lee", "Judged-As": "12 34", "kit-version": "1a2b3c4d"}) == {KIT: "1a2b3c4d"}
