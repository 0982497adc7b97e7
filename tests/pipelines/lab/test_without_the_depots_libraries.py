"""What a laboratory runs needs no Dagster, DuckDB or Arrow, nor what else only a depot's installation has."""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from tests.delivery_builders import REPO, STUDY, a_delivery

#: Distribution -> the package it is imported as.
OF_THE_DEPOT = {
    "alembic": "alembic",
    "dagster": "dagster",
    "dagster-webserver": "dagster_webserver",
    "duckdb": "duckdb",
    "ezc3d": "ezc3d",
    "filelock": "filelock",
    "fsspec": "fsspec",
    "great-expectations": "great_expectations",
    "openpyxl": "openpyxl",
    "pyarrow": "pyarrow",
    "sqlalchemy": "sqlalchemy",
}
_BLOCKED = f"""
import sys
class Blocked:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in {set(OF_THE_DEPOT.values())!r}:
            raise ModuleNotFoundError(f"No module named {{name!r}}", name=name)
sys.meta_path.insert(0, Blocked())
"""
_COMMANDS = """
import sys
def carry_out(commands):
    from pipelines.command.main import main
    ended = []
    for words in commands:
        sys.argv = ["manystrides", *words]
        try:
            main()
            ended.append(0)
        except SystemExit as end:
            ended.append(end.code)
    print("ended", *ended)
if __name__ == "__main__":
    carry_out({commands!r})
"""


def without_them(folder: Path, *commands: list[str | Path]) -> subprocess.CompletedProcess[str]:
    """The commands one after the other where those packages are not installed, in worker processes neither."""
    (folder / "site").mkdir()
    (folder / "site" / "sitecustomize.py").write_text(_BLOCKED)  # every Python that starts reads it
    (folder / "commands.py").write_text(_COMMANDS.format(commands=[[str(word) for word in own] for own in commands]))
    found = os.pathsep.join((str(folder / "site"), str(REPO)))
    return subprocess.run(
        [sys.executable, str(folder / "commands.py")],
        capture_output=True,
        text=True,
        cwd=REPO,
        check=False,
        env={**os.environ, "PYTHONPATH": found},
    )


@pytest.fixture
def bag(tmp_path: Path) -> Path:
    return a_delivery(tmp_path, faulty={"1": "heavy"})


def test_these_are_the_packages_that_only_the_depot_is_installed_with() -> None:
    settings = tomllib.loads((REPO / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    names = {line.partition(">")[0] for line in settings["optional-dependencies"]["depot"]}
    assert names == set(OF_THE_DEPOT)
    assert not names & {line.partition(">")[0] for line in settings["dependencies"]}


def test_a_laboratory_checks_packs_drafts_a_profile_and_looks_without_them(bag: Path, tmp_path: Path) -> None:
    trials = bag / "data" / "trials"
    trial = next(trials.glob("*.c3d"))
    done = without_them(
        tmp_path,
        ["check", bag, "--study", STUDY, "--report", tmp_path / "report"],
        ["pack", bag, "--study", STUDY, "--to", tmp_path / "brack-007.zip", "--number", "7"],
        ["look", trial, "--outcomes", "--profile", STUDY.parent / "sites" / "brack.yaml", "--mass", "70"],
        ["profile", trials, "--site", "brack", "--study", STUDY, "--to", tmp_path / "drafted.yaml"],
    )
    assert done.stdout.splitlines()[-1] == "ended 1 0 0 0", done.stdout + done.stderr
    assert (tmp_path / "report" / "index.html").exists()
    assert (tmp_path / "brack-007.zip").exists()
    assert (tmp_path / "drafted.yaml").exists()


def test_what_needs_them_says_how_to_install_them_and_leaves_nothing(bag: Path, tmp_path: Path) -> None:
    depot = tmp_path / "depot"
    done = without_them(
        tmp_path,
        ["run", "--study", STUDY, "--inbox", tmp_path, "--depot", depot],
        ["kit", "brack", "--study", STUDY, "--to", tmp_path / "kit.zip"],
    )
    assert done.stdout.splitlines()[-1] == "ended 2 2", done.stdout + done.stderr
    assert done.stderr.count("manystrides[depot]") == 2
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "kit.zip").exists()
