"""All that a depot keeps goes through one layer: each test of this folder is watched, and the watch can see."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from pipelines.assets.deciding import release, withdraw
from pipelines.assets.run import run
from pipelines.depot.storage import Depot
from pipelines.depot.verify import verify
from tests.delivery_builders import STUDY, a_delivery, leaving
from tests.trust.conftest import LEAVES
from tests.trust.one_way import LAYER, REPO, Watch

PAST_IT = {
    "writes": "(depot / 'pages' / 'index.html').write_text('x')",
    "reads": "next((depot / 'deliveries').rglob('*.parquet')).read_bytes()",
    "renames": "(depot / 'raw').rename(depot / 'elsewhere')",
    "removes": "shutil.rmtree(depot / 'closed', ignore_errors=True)",
    "links": "os.link(depot / 'warehouse.duckdb', depot / 'mine')",
}


def test_taking_in_releasing_and_withdrawing_is_all_done_through_it(once: Path, tmp_path: Path) -> None:
    shutil.copytree(once, place := tmp_path / "copy")
    a_delivery(place / "inbox", 2, names=("1",), withdrawn={"FS-01": 0})
    run(STUDY, place / "inbox", place / "depot", "tester", workers=1)
    release(STUDY, place / "depot", "first", "tester")
    withdraw(STUDY, place / "depot", leaving(LEAVES))
    with Depot(place / "depot").alone("tester"):
        assert verify(Depot(place / "depot")) == []


@pytest.mark.parametrize("what", PAST_IT)
def test_a_module_that_goes_past_it_is_seen(what: str, once: Path, tmp_path: Path, watched: Watch) -> None:
    shutil.copytree(once, place := tmp_path / "copy")
    seen = {"depot": place / "depot", "shutil": shutil, "os": os}
    for module, is_told in (("pipelines/taking_in/made_up.py", True), (LAYER, False)):
        shutil.rmtree(place)
        shutil.copytree(once, place)
        (place / "depot" / "closed").mkdir(exist_ok=True)
        exec(compile(PAST_IT[what], f"{REPO}/{module}", "exec"), seen)
        told = watched.taken()
        assert any(line.startswith(module) for line in told) == is_told, told
