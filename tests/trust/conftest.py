"""A small depot that several modules copy, and a watch that all bytes of depots go through their one layer."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from pipelines.assets.run import run
from tests.delivery_builders import STUDY, a_delivery
from tests.trust.one_way import Watch, watch

STAYS, LEAVES = "FS-01", "FS-02"


@pytest.fixture(scope="session")
def once(made_once: Callable[[str, Callable[[Path], None]], Path]) -> Path:
    """An inbox with one delivery of two runners, and the depot that took it in. Nobody may write into it."""

    def fill(folder: Path) -> None:
        a_delivery(folder / "inbox", names=("standing",), runners=(STAYS, LEAVES))
        run(STUDY, folder / "inbox", folder / "depot", "tester", workers=1)

    return made_once("two-runners", fill)


@pytest.fixture(scope="session", autouse=True)
def watched() -> Watch:
    """Sees from the first test of this folder on."""
    return watch()


@pytest.fixture(autouse=True)
def one_way(watched: Watch) -> Iterator[None]:
    """Every test here proves it beside what it is for; what tests of other folders did is not theirs."""
    watched.taken()
    yield
    assert watched.taken() == [], "bytes of a depot went past pipelines/depot/store.py"
