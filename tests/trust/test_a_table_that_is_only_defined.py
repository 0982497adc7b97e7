"""A table that is only defined: its rows are gated, redacted and withdrawn, and nothing else of the house knows it.

The definition is the one that docs/how_to/add_a_table.md shows; it is put into a copy of the code, and a delivery is
taken through that copy by ``tests.trust.a_delivery_with_nights``.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.trust.a_delivery_with_nights import AGREES, MINUTES, NOT_TO_GAS

REPO = Path(__file__).resolve().parents[2]
PAGE = REPO / "docs" / "how_to" / "add_a_table.md"


@pytest.fixture(scope="module")
def seen(tmp_path_factory: pytest.TempPathFactory) -> dict[str, object]:
    """What a delivery with the new table came to, in a copy of the code with two definitions more."""
    copy = tmp_path_factory.mktemp("with_a_table")
    for package in ("schemas", "checks", "pipelines", "demo_site_uploads", "tests"):
        shutil.copytree(REPO / package, copy / package, ignore=shutil.ignore_patterns("inbox"))
    (definition,) = re.findall(r"```python\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.S)
    with (copy / "schemas" / "delivery_beside.py").open("a", encoding="utf-8") as module:
        module.write(f"\n\n{definition}")
    command = [sys.executable, "-m", "tests.trust.a_delivery_with_nights", str(copy / "depot")]
    done = subprocess.run(command, cwd=copy, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    found: dict[str, object] = json.loads(done.stdout.splitlines()[-1])
    assert found["code"] == str(copy / "schemas")
    return found


def test_only_what_consent_covers_is_pooled_and_the_rest_is_nowhere_in_the_open(seen: dict[str, object]) -> None:
    assert seen["pooled"] == [[AGREES, MINUTES[AGREES]]]
    assert seen["warehouse"] == [[AGREES, MINUTES[AGREES]]]
    assert seen["consented values in the open"] == ["deliveries/brack-001/reported_sleep.parquet", "warehouse.duckdb"]
    assert seen["unconsented values in the open"] == []
    assert seen["names of those nobody asked in the open"] == []


def test_of_rows_that_are_not_covered_one_sentence_tells_how_many(seen: dict[str, object]) -> None:
    assert seen["told"] == ["Consent is not shown for 3 rows of sleep.csv: not in force for the runner on that day."]


def test_a_column_that_says_nothing_of_its_privacy_is_in_no_release(seen: dict[str, object]) -> None:
    assert seen["released"] == [
        "participant_id",
        "study_day",
        "slept_min",
        "delivery_id",
        "code_version",
        "study_version",
    ]


def test_a_withdrawal_takes_its_rows_out_of_the_bag_and_leaves_what_was_not_withdrawn(seen: dict[str, object]) -> None:
    assert seen["pooled after"] == []
    assert seen["bytes after"] == []
    assert seen["runners after"] == [AGREES, NOT_TO_GAS]
