"""A depot in folders without write permission, as of another user: what asks works, and what writes says what to do."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from pipelines.depot.books.log_file import log_of
from pipelines.depot.storage import Depot
from tests.delivery_builders import REPO, STUDY
from tests.trust.test_damaged_books_after_a_kill import dies_in, tell

ASK = """
import json, os, sys
from typer.testing import CliRunner
from pipelines.command.main import app
told = {}
for words in json.loads(sys.argv[1]):
    done = CliRunner().invoke(app, words)
    error = "" if done.exception is None or isinstance(done.exception, SystemExit) else str(done.exception)
    told[" ".join(words[:2])] = [done.exit_code, done.output, error]
print(json.dumps(told))
"""


def asked(place: Path, *commands: list[str]) -> dict[str, tuple[int, str, str]]:
    """What commands tell a user without any right to write in ``place``: exit code, output, error."""
    for path in sorted(place.rglob("*"), reverse=True):
        path.chmod(path.stat().st_mode & ~0o222)
    place.chmod(0o500)
    words = [sys.executable, "-c", ASK, json.dumps(commands)]
    if os.getuid() == 0:  # the superuser without its right to pass over permissions is an owner like any other
        rights = "-dac_override,-dac_read_search"
        words = ["setpriv", "--bounding-set", rights, "--inh-caps", rights, *words]
    try:
        done = subprocess.run(words, capture_output=True, text=True, cwd=REPO, check=True)
    finally:
        for path in (place, *(p for p in place.rglob("*") if p.is_dir())):
            path.chmod(0o700)
    told: dict[str, tuple[int, str, str]] = json.loads(done.stdout)
    return told


@pytest.fixture
def place(once: Path, tmp_path: Path) -> Path:
    shutil.copytree(once, tmp_path / "copy")
    return tmp_path / "copy"


def test_what_only_asks_works_and_what_writes_says_what_to_do(place: Path) -> None:
    here, work = ["--depot", str(place / "depot")], ["--study", str(STUDY), "--inbox", str(place / "inbox")]
    told = asked(
        place,
        ["ledger", "show", *here],
        ["ledger", "head", *here],
        ["ledger", "verify", *here],
        ["verify", "--depot", str(place / "depot"), *work],
        ["sql", "SELECT count(*) FROM trials", *here],
        ["run", "--plan", *work, *here],
        ["release", "--why", "x", "--as", "Ann", "--study", str(STUDY), *here],
        ["upgrade", *here],
    )
    wrote = {"run --plan", "release --why", "upgrade --depot"}
    assert {name: code for name, (code, _, _) in told.items()} == {name: int(name in wrote) for name in told}, told
    assert "taken_in brack-001" in told["ledger show"][1]
    assert "Head: " in told["ledger head"][1]
    assert "is whole" in told["ledger verify"][1]
    assert "is whole" in told["verify --depot"][1]
    for name in wrote:
        assert "Run it as the depot's owner, or on a copy" in told[name][2]


def test_what_a_killed_command_wrote_is_read_too_or_it_is_said_how(place: Path) -> None:
    depot = Depot(place / "depot")
    dies_in(depot, lambda: tell(depot, 3))
    show = ["ledger", "show", "--depot", str(depot.root)]
    code, output, _ = asked(place, show)["ledger show"]
    assert (code, "line 2" in output) == (0, True)
    log_of(depot.root / "books.sqlite").with_name("books.sqlite-shm").unlink()
    code, _, error = asked(place, show)["ledger show"]
    assert code == 1
    assert "Let root run manystrides verify on it, or read a copy" in error.replace(depot.register.owner(), "root")


def test_books_of_another_user_are_told_to_be_so(place: Path) -> None:
    (place / "depot" / "books.sqlite").chmod(0)
    told = asked(place, ["ledger", "head", "--depot", str(place / "depot")])["ledger head"]
    assert "may not read the books" in told[2]
