"""The check at the laboratory: quick to say what it does, its pages, its exit codes."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import typer.main

from pipelines.command import docs_pages
from pipelines.command.docs_commands import leaf_commands
from pipelines.command.exit_codes import exit_codes
from pipelines.command.main import app
from pipelines.errors import Unusable
from pipelines.lab.check import check_at_the_lab
from tests.command_line import command
from tests.delivery_builders import REPO, STUDY, a_delivery, trial_id
from tests.pipelines.identity.planting import with_cell
from tests.pipelines.pages.reading_html import Element, read

PERSON = "Ragnhild Ostervik"


@pytest.fixture(scope="module")
def faulty(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, subprocess.CompletedProcess[str]]:
    """A delivery of one runner with a plate that reads too much, and one withdrawn runner; its report."""
    folder = tmp_path_factory.mktemp("report")
    bag = a_delivery(
        folder / "inbox",
        runners=("FS-01", "FS-02"),
        names=("standing", "1"),
        faulty={"1": "heavy"},
        withdrawn={"FS-02": 0},
    )
    done = command("check", bag, "--study", STUDY, "--report", folder / "report")
    return bag, folder / "report", done


def test_the_first_line_comes_before_anything_heavy_is_loaded() -> None:
    heavy = ["pandas", "numpy", "duckdb", "pyarrow", "scipy", "ezc3d", "pandera", "jinja2", "yaml"]
    code = f"""
import io, sys

class Telling(io.TextIOWrapper):
    def write(self, text):
        loaded = [m for m in {heavy} if m in sys.modules]
        return super().write(text if text == chr(10) else text.rstrip(chr(10)) + repr(loaded) + chr(10))

sys.stdout = Telling(sys.__stdout__.buffer)
sys.argv = ["manystrides", "check", "no such delivery"]
from pipelines.cli import main
main()
"""
    done = subprocess.run([sys.executable, "-c", code], cwd=REPO, capture_output=True, text=True, check=False)
    (first,) = [line for line in done.stdout.splitlines() if line.startswith("Checking no such delivery")]
    assert first.endswith("[]")
    assert (done.returncode, "no such file" in done.stderr) == (2, True)


def test_progress_is_told_trial_by_trial(faulty: tuple[Path, Path, subprocess.CompletedProcess[str]]) -> None:
    told = faulty[2].stderr
    assert "1 of 2 trials judged" in told
    assert "2 of 2 trials judged" in told


def test_a_faulty_trial_has_a_fix_sheet_with_its_signal_and_what_to_do(
    faulty: tuple[Path, Path, subprocess.CompletedProcess[str]],
) -> None:
    _, report, done = faulty
    assert done.returncode == 1
    assert f"Report: {report / 'index.html'}" in done.stdout
    first = read(report / "index.html")
    links = [a.attributes["href"] for a in first.all("a") if a.attributes["href"].startswith("fix/")]
    assert links == [f"fix/{trial_id('1')}.html"]
    sheet = read(report / links[0])
    assert "body mass" in sheet.words
    assert sheet.all("svg")
    assert "manystrides check" in sheet.words
    assert "went back to you" not in sheet.words, "it has not been sent yet"


def test_a_withheld_trial_is_counted_and_not_named(
    faulty: tuple[Path, Path, subprocess.CompletedProcess[str]],
) -> None:
    first = read(faulty[1] / "index.html")
    assert "2 trials would be kept apart" in first.words
    for page in faulty[1].rglob("*.html"):
        assert "FS-02" not in page.read_text(encoding="utf-8")


def _attributes(page: Element) -> list[tuple[str, str, str]]:
    return [(e.tag, name, value) for e in page.all() for name, value in e.attributes.items()]


def test_the_report_is_whole_in_itself_and_holds_no_script(
    faulty: tuple[Path, Path, subprocess.CompletedProcess[str]],
) -> None:
    pages = sorted(faulty[1].rglob("*"))
    assert {p.suffix for p in pages if p.is_file()} == {".html"}
    for path in (p for p in pages if p.is_file()):
        page = read(path)
        assert not page.all("script", "iframe", "object", "embed", "link")
        for tag, name, value in _attributes(page):
            assert not name.startswith("on"), (tag, name)
            if name in ("href", "src") and not value.startswith(("#", "data:text/csv;")):
                assert (path.parent / value.partition("#")[0]).resolve().is_file(), f"{path}: {value} leads nowhere"


def test_a_clean_delivery_has_a_report_that_says_so(tmp_path: Path) -> None:
    checked = check_at_the_lab(a_delivery(tmp_path / "inbox"), STUDY, report=tmp_path / "report")
    assert checked.exit_code == 0
    assert [p.name for p in sorted((tmp_path / "report").rglob("*.html"))] == ["index.html"]
    assert "Nothing must be corrected" in read(tmp_path / "report" / "index.html").words


def test_a_delivery_that_would_be_stopped_has_a_sheet_of_its_own(tmp_path: Path) -> None:
    bag = a_delivery(tmp_path / "inbox")
    (bag / "data" / "trials.csv").write_text("changed after packing")
    checked = check_at_the_lab(bag, STUDY, report=tmp_path / "report")
    assert checked.exit_code == 1
    first = read(tmp_path / "report" / "index.html")
    assert "could not take it in" in first.words
    (sheet,) = (tmp_path / "report" / "fix").iterdir()
    assert "has changed since the bag was made" in read(sheet).words


def test_texts_that_identify_somebody_are_placed_and_never_repeated(tmp_path: Path) -> None:
    bag = a_delivery(tmp_path / "inbox")
    with_cell(bag, "trials.csv", "comment", f"{PERSON} was late")
    checked = check_at_the_lab(bag, STUDY, report=tmp_path / "report")
    assert checked.exit_code == 1
    words = read(tmp_path / "report" / "index.html").words
    assert "column comment" in words
    assert "name of a person" in words
    for page in (tmp_path / "report").rglob("*.html"):
        assert "Ostervik" not in page.read_text(encoding="utf-8")


def test_nothing_is_written_over_and_no_report_goes_into_the_delivery(tmp_path: Path) -> None:
    bag = a_delivery(tmp_path / "inbox")
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "thesis.txt").write_text("dear")
    for place in (mine, bag / "data" / "report", tmp_path / "none" / "report"):
        with pytest.raises(Unusable):
            check_at_the_lab(bag, STUDY, report=place)
    assert [p.name for p in mine.iterdir()] == ["thesis.txt"]
    assert not (bag / "data" / "report").exists()


def test_the_delivery_is_not_changed_by_a_check_with_a_report(tmp_path: Path) -> None:
    bag = a_delivery(tmp_path / "inbox")
    shutil.copytree(bag, tmp_path / "before")
    check_at_the_lab(bag, STUDY, report=tmp_path / "report")
    now, before = (
        {p.relative_to(f): p.read_bytes() for p in f.rglob("*") if p.is_file()} for f in (bag, tmp_path / "before")
    )
    assert now == before


def test_the_reference_tells_the_exit_codes_of_every_command() -> None:
    page = docs_pages.reference_pages()["commands.md"]
    names = [" ".join(path[1:]) for path, _ in leaf_commands(typer.main.get_command(app), ("manystrides",))]
    assert {"check", "pack", "profile"} <= set(names)
    for name in names:
        section = page[page.index(f"## manystrides {name}\n") :].split("\n## ")[0]
        for code, meaning in exit_codes(name).items():
            assert f"| `{code}` | {meaning} |" in section
