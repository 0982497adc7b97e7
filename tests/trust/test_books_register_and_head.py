"""Books, register and head of the ledger: whatever happens to them, nobody's withdrawal is forgotten without a word."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from contextlib import suppress
from itertools import product
from pathlib import Path

import pytest

from pipelines.assets.deciding import withdraw
from pipelines.assets.repairing import repair
from pipelines.depot.reached import NAME as HEAD
from pipelines.depot.storage import Depot
from pipelines.depot.upgrade import upgrade
from pipelines.depot.verify import verify
from pipelines.errors import Unusable
from pipelines.taking_in.repairing import Sources
from tests.delivery_builders import STUDY, leaving
from tests.trust.conftest import LEAVES

THREE = ("books", "register", "head")


def places(depot: Depot) -> dict[str, Path]:
    return {"books": depot.root / "books.sqlite", "register": depot.register, "head": depot.root / HEAD}


@pytest.fixture(scope="session")
def after_a_withdrawal(once: Path, made_once: Callable[[str, Callable[[Path], None]], Path]) -> Path:
    """A depot from which a runner withdrew, and in ``before`` its three files of the day before."""

    def fill(folder: Path) -> None:
        shutil.copytree(once, folder, dirs_exist_ok=True)
        (folder / "before").mkdir()
        for path in places(Depot(folder / "depot")).values():
            shutil.copy(path, folder / "before")
        withdraw(STUDY, folder / "depot", leaving(LEAVES, by="Ann Lee"))

    return made_once("after-a-withdrawal", fill)


def harm(path: Path, how: str, older: Path) -> None:
    """Do to a file what disks, people and programs do."""
    content = path.read_bytes()
    path.unlink()
    if how == "older":
        shutil.copy(older, path)
    elif how == "empty":
        path.touch()
    elif how == "cut":
        path.write_bytes(content[:-9])
    elif how == "a bit turned":
        path.write_bytes(
            content[: len(content) // 2] + bytes([content[len(content) // 2] ^ 4]) + content[len(content) // 2 + 1 :]
        )
    elif how == "a link to an older one":
        path.symlink_to(older)
    elif how == "a link to nothing":
        path.symlink_to(path.with_name("nothing"))
    elif how == "a folder":
        path.mkdir()
    elif how == "a pipe":
        os.mkfifo(path)


def copied(folder: Path, target: Path, harms: dict[str, str]) -> Depot:
    depot = Depot(Path(shutil.copytree(folder, target)) / "depot")
    for what, how in harms.items():
        if how != "kept":
            harm(places(depot)[what], how, folder / "before" / places(depot)[what].name)
    return depot


def writes(depot: Depot) -> bool:
    """Whether a command may write; if one may, it knows who withdrew."""
    try:
        with depot.writing("ann"):
            assert len(list(depot.books.withdrawals.listed())) == 1, "a withdrawal was forgotten"
            return True
    except Unusable:
        return False


_HARMS = ("empty", "cut", "a bit turned", "a link to an older one", "a link to nothing", "a folder", "a pipe")


@pytest.mark.parametrize("how", _HARMS)
@pytest.mark.parametrize("what", THREE)
def test_one_that_is_harmed_is_told_and_nothing_is_written_or_waited_for(
    after_a_withdrawal: Path, tmp_path: Path, what: str, how: str
) -> None:
    depot = copied(after_a_withdrawal, tmp_path / "copy", {what: how})
    if (what, how) == ("head", "a link to an older one"):  # the ledger goes on from there: nothing is lost
        assert writes(depot)
        return
    assert verify(depot), "verify tells it"
    assert not writes(depot)


#: A whole depot of another day is found only against a head that was kept elsewhere (docs/explain/trust.md).
_ANOTHER_DAY = {("older", "older", "older"), ("older", "missing", "older")}
_MIXTURES = [states for states in product(("kept", "missing", "older"), repeat=3) if states not in _ANOTHER_DAY]


@pytest.mark.parametrize("states", _MIXTURES, ids="-".join)
def test_no_mixture_of_missing_and_older_ones_forgets_a_withdrawal_nor_after_an_upgrade(
    after_a_withdrawal: Path, tmp_path: Path, states: tuple[str, str, str]
) -> None:
    depot = copied(after_a_withdrawal, tmp_path / "copy", dict(zip(THREE, states, strict=True)))
    writes(depot)
    with suppress(Unusable):
        upgrade(depot, "ann")
    writes(depot)


@pytest.mark.parametrize("states", [("older", "missing", "missing"), ("older", "older", "missing")], ids="-".join)
def test_a_repair_after_an_upgrade_makes_nothing_good_that_nobody_can_know(
    after_a_withdrawal: Path, tmp_path: Path, states: tuple[str, str, str]
) -> None:
    depot = copied(after_a_withdrawal, tmp_path / "copy", dict(zip(THREE, states, strict=True)))
    with suppress(Unusable):
        upgrade(depot, "ann")
    assert repair(STUDY, depot, "ann", Sources(inbox=tmp_path / "copy" / "inbox")).left
    assert not writes(depot)
