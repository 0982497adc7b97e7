"""Imports go one way, schemas <- checks <- pipelines, and heavy libraries wait until they are used."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

REPO = Path(__file__).resolve().parents[1]
MAY_IMPORT = {"schemas": {"schemas"}, "checks": {"schemas", "checks"}, "pipelines": {"schemas", "checks", "pipelines"}}
OWN = set(MAY_IMPORT) | {"tests", "benchmarks", "demo_site_uploads"}
NEVER_DAGSTER = ("schemas", "checks", "pipelines/outcomes")
DAGSTER_ONLY_INSIDE_FUNCTIONS = {"schemas/convert/to_dagster.py"}


def _imports(path: Path) -> list[tuple[str, int]]:
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [(alias.name, node.lineno) for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            found.append((node.module, node.lineno))
    return found


def _modules(folder: str) -> list[Path]:
    return sorted((REPO / folder).rglob("*.py"))


@pytest.mark.parametrize("package", MAY_IMPORT)
def test_a_package_imports_only_what_stands_before_it(package: str) -> None:
    wrong = [
        f"{path.relative_to(REPO)}:{line} imports {name}"
        for path in _modules(package)
        for name, line in _imports(path)
        if name.split(".")[0] in OWN - MAY_IMPORT[package]
    ]
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("folder", NEVER_DAGSTER)
def test_the_science_knows_nothing_of_dagster(folder: str) -> None:
    wrong = [
        f"{path.relative_to(REPO)}:{line}"
        for path in _modules(folder)
        for name, line in _imports(path)
        if name.split(".")[0] == "dagster" and str(path.relative_to(REPO)) not in DAGSTER_ONLY_INSIDE_FUNCTIONS
    ]
    assert not wrong, "\n".join(wrong)


def test_the_command_starts_without_heavy_libraries() -> None:
    heavy = ["dagster", "great_expectations", "altair", "pandera", "ezc3d", "scipy", "duckdb", "pandas", "vl_convert"]
    code = f"import sys, pipelines.cli; print([m for m in {heavy!r} if m in sys.modules])"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=REPO, check=True)
    assert out.stdout.strip() == "[]"
