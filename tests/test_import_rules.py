"""Imports go one way, folder by folder, without circles; heavy libraries wait until they are used."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import pytest

REPO = Path(__file__).resolve().parents[1]
#: From the ground up: what stands on a floor may use its own folder and every floor below.
FLOORS = ("schemas", "pipelines.science", "checks", "pipelines")
DAGSTER_ONLY_INSIDE_FUNCTIONS = {"schemas/convert/to_dagster.py"}
NEVER_DAGSTER = ("schemas", "checks", "pipelines/science", "pipelines/intake", "pipelines/judging")
OUTSIDE = {"tests", "benchmarks", "demo_site_uploads"}


def _imports(path: Path) -> Iterator[tuple[str, int]]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node.lineno) for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            yield from ((f"{node.module}.{alias.name}", node.lineno) for alias in node.names)


def _modules(folder: str) -> list[Path]:
    return sorted((REPO / folder).rglob("*.py"))


def _ours() -> Iterator[tuple[str, str, str]]:
    """(importing module, imported name, place) of every import among our own packages."""
    for path in (p for package in ("schemas", "checks", "pipelines") for p in _modules(package)):
        place = path.relative_to(REPO)
        for name, line in _imports(path):
            if name.split(".")[0] in {"schemas", "checks", "pipelines"} | OUTSIDE:
                yield ".".join(place.with_suffix("").parts), name, f"{place}:{line} imports {name}"


def _floor(module: str) -> int:
    return max((len(floor), i) for i, floor in enumerate(FLOORS) if f"{module}.".startswith(f"{floor}."))[1]


def test_imports_only_go_down_the_floors() -> None:
    wrong = [place for own, name, place in _ours() if name.split(".")[0] in OUTSIDE or _floor(name) > _floor(own)]
    assert not wrong, "\n".join(wrong)


def _folder(module: str) -> str:
    """The folder a module counts to: the second word, or the module itself where it lies loose on the ground."""
    parts = module.split(".")
    return parts[0] if parts[0] == "schemas" else ".".join(parts[:2])


def test_no_two_folders_use_each_other() -> None:
    """Not on a way round through others either: the folders can be put in an order."""
    uses: dict[str, dict[str, str]] = defaultdict(dict)
    for own, name, place in _ours():
        if _folder(own) != _folder(name):
            uses[_folder(own)].setdefault(_folder(name), place)
    left = {folder: set(uses[folder]) for folder in {*uses, *(f for own in uses.values() for f in own)}}
    while ready := [folder for folder, needs in left.items() if not needs & set(left)]:
        for folder in ready:
            del left[folder]
    circle = [uses[a][b] for a in sorted(left) for b in sorted(left) if b in uses[a]]
    assert not circle, "\n".join(circle)


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
    heavy = ["dagster", "great_expectations", "pandera", "ezc3d", "scipy", "duckdb", "pandas"]
    code = f"import sys, pipelines.command.main; print([m for m in {heavy!r} if m in sys.modules])"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=REPO, check=True)
    assert out.stdout.strip() == "[]"


@pytest.mark.parametrize("package", ["schemas", "checks", "pipelines"])
def test_no_module_is_longer_than_three_hundred_lines(package: str) -> None:
    """Word lists are data files; what grows longer has two subjects. A form of the books is written once, as a whole."""
    long = [
        f"{path.relative_to(REPO)}: {count} lines"
        for path in _modules(package)
        if "migrations" not in path.parts
        if (count := len(path.read_text(encoding="utf-8").splitlines())) > 300
    ]
    assert not long, "\n".join(long)
