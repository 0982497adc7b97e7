"""Two files and a row: what docs/how_to/add_a_check.md shows is put into a copy of the code, and works there."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

REPO = Path(__file__).resolve().parents[2]
PAGE = (REPO / "docs" / "how_to" / "add_a_check.md").read_text(encoding="utf-8")
FILES: dict[str, str] = dict(re.findall(r"```python\n# (\S+)\n(.*?)```", PAGE, re.S))
(ROW,) = re.findall(r"```csv\n(.*?)```", PAGE, re.S)
NAME = "muscle_signals_swing_about_zero"


def in_copy(copy: Path, *words: str) -> subprocess.CompletedProcess[str]:
    compiled_once = {**os.environ, "PYTHONDONTWRITEBYTECODE": ""}
    return subprocess.run(
        [sys.executable, "-m", *words], cwd=copy, capture_output=True, text=True, check=False, env=compiled_once
    )


def cases(copy: Path) -> subprocess.CompletedProcess[str]:
    """What the tests of every check say of the new one."""
    return in_copy(copy, "pytest", "-q", "-p", "no:cacheprovider", "tests/checks/test_every_check.py", "-k", NAME)


def test_a_check_is_two_files_and_a_row(tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    for package in ("schemas", "checks", "pipelines", "demo_site_uploads", "tests", "benchmarks"):
        shutil.copytree(REPO / package, copy / package, ignore=shutil.ignore_patterns("inbox"))
    function, plant = FILES
    (copy / function).write_text(FILES[function], encoding="utf-8")
    said = cases(copy).stdout
    assert f"{NAME} has no planted fault" in said
    assert "2 failed" in said
    (copy / plant).write_text(FILES[plant], encoding="utf-8")
    done = cases(copy)
    assert "2 passed" in done.stdout, done.stdout
    with (copy / "demo_site_uploads" / "expected_findings.csv").open("a", encoding="utf-8") as rows:
        rows.write(ROW)
    delivery, trial, check, weight, _ = ROW.split(",", 4)
    done = in_copy(copy, "tests.docs.adding_a_check", str(tmp_path / "taken_in"), delivery)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout.splitlines()[-1]) == [[trial, check, weight]]
