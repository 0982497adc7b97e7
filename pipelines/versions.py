"""Which code made a row: the package's version and a short hash of its sources; and the sources part by part.

The hash over all changes with every changed check, outcome or table, and stands in every row as what made it. Whether
a result is made again is asked of the parts (``part_sources``): the science, which makes numbers, and the checks. What
only shows, pools or decides belongs to neither; a new module counts as science until it is named here.

Of a Python source only what it does counts (``pipelines.source_form``): a comment makes no other version, nor does a
docstring but where something is shown, since pages tell why there is a check.
"""

from __future__ import annotations

import atexit
import hashlib
import json
import os
import sys
from collections.abc import Iterator, Mapping
from contextlib import suppress
from functools import cache
from importlib import metadata
from pathlib import Path

from pipelines import source_form
from pipelines.source_form import plain_forms

_FORMS = Path(__file__).with_name("__pycache__") / "forms.json"
_MOST_FORMS = 4000
_PACKAGES = ("schemas", "checks", "pipelines")
_ONLY_SHOWN = (
    "pipelines/pages/",
    "pipelines/cli.py",
    "pipelines/command/",
    "pipelines/beginning/",
    "pipelines/lab/",
    "pipelines/release/",
)
#: What no trial is judged with: it keeps, shows, pools or decides what judging gave, or says when to judge.
_NOT_JUDGING = (
    *_ONLY_SHOWN,
    "pipelines/assets/",
    "pipelines/deciding/",
    "pipelines/depot/",
    "pipelines/handing_over/",
    "pipelines/pool/",
    "pipelines/science/change_over/",
    "pipelines/science/statistics/",
    "pipelines/progress.py",
    "pipelines/source_form.py",
    "pipelines/telemetry.py",
    "pipelines/versions.py",
    "pipelines/judging/packed_with.py",
    "pipelines/judging/stamps.py",
    "pipelines/study/handover.py",
    "pipelines/study/silence.py",
    "pipelines/taking_in/again.py",
    "pipelines/taking_in/ahead.py",
    "pipelines/taking_in/batch.py",
    "pipelines/taking_in/building.py",
    "pipelines/taking_in/due.py",
    "pipelines/taking_in/noting.py",
    "pipelines/taking_in/opening.py",
    "pipelines/taking_in/packed_with.py",
    "pipelines/taking_in/repairing.py",
    "pipelines/taking_in/still_arriving.py",
    "pipelines/taking_in/summary.py",
    "pipelines/taking_in/tags_anew.py",
    "pipelines/taking_in/telling.py",
    "pipelines/taking_in/withdrawing.py",
    "pipelines/workers/",
    "checks/site/",
    "schemas/handover.py",
    "schemas/moments.py",
)

#: What among them says nevertheless what a delivery is judged with: of consent, of decisions, of other deliveries.
_READ_BY_JUDGING = (
    "pipelines/depot/consents.py",
    "pipelines/depot/overrides.py",
    "pipelines/depot/unread_consents.py",
    "pipelines/depot/books/decisions.py",
    "pipelines/depot/books/gates.py",
    "pipelines/depot/books/leaning.py",
    "pipelines/depot/books/order.py",
    "pipelines/depot/books/told_rows.py",
    "pipelines/depot/books/trials.py",
    "pipelines/depot/books/withdrawals.py",
)


def package_version() -> str:
    """Version of the installed distribution."""
    return metadata.version("manystrides")


@cache
def code_version() -> str:
    """For example ``0.1.0+3f9a1c2b``; the same for the whole life of the process."""
    return f"{package_version()}+{sources_hash(Path(__file__).parents[1])}"


@cache
def shown_version() -> str:
    """The same over everything, what is only shown too; changes when pages must be made again."""
    return sources_hash(Path(__file__).parents[1], what_is_only_shown=True)


def sources_hash(root: Path, *, what_is_only_shown: bool = False) -> str:
    """8 hex digits over names of the sources of the three packages below ``root`` and what they do."""
    digest = hashlib.sha256()
    for name, path in _sources(root):
        shown = path.suffix != ".py" or name.startswith(_ONLY_SHOWN)
        if what_is_only_shown or not shown:
            digest.update(f"{name}\0{_digest(path, told_too=what_is_only_shown)}\n".encode())
    return digest.hexdigest()[:8]


@cache
def judging_sources() -> Mapping[str, Mapping[str, str]]:
    """``part_sources`` of the code that runs."""
    return part_sources(Path(__file__).parents[1])


def part_sources(root: Path) -> dict[str, dict[str, str]]:
    """``science`` and ``checks``: name of each source trials are judged with -> 16 hex digits over what it does."""
    found: dict[str, dict[str, str]] = {"science": {}, "checks": {}}
    for name, path in _sources(root):
        if name in _READ_BY_JUDGING or not name.startswith(_NOT_JUDGING):
            part = "checks" if name.startswith("checks/") else "science"
            found[part][name] = _digest(path)[:16]
    return found


def _digest(path: Path, *, told_too: bool = False) -> str:
    """Changes with what a source does. told_too: with its docstrings, too."""
    content = path.read_bytes()
    if path.suffix != ".py":
        return hashlib.sha256(content).hexdigest()
    return _of_python(content)[told_too]


def _of_python(content: bytes) -> tuple[str, str]:
    key = hashlib.sha256(content).hexdigest()
    if key not in _remembered():
        plain, told = (form.encode() for form in plain_forms(content.decode("utf-8")))
        _remembered()[key] = hashlib.sha256(plain).hexdigest(), hashlib.sha256(told).hexdigest()
    return _remembered()[key]


@cache
def _remembered() -> dict[str, tuple[str, str]]:
    """SHA-256 of a source -> digests of its plain forms, as far as they are kept beside the compiled code.

    To find them takes longer than to start. They are written at the end of the process, if there are more then.
    """
    place = _FORMS.with_name(f"forms-{hashlib.sha256(Path(source_form.__file__).read_bytes()).hexdigest()[:16]}.json")
    try:
        known = {str(key): (str(plain), str(told)) for key, (plain, told) in json.loads(place.read_bytes()).items()}
    except (OSError, ValueError, AttributeError, TypeError):
        known = {}
    if not sys.dont_write_bytecode:
        atexit.register(_remember, place, known, len(known))
    return known


def _remember(place: Path, known: dict[str, tuple[str, str]], before: int) -> None:
    if len(known) == before:
        return
    beside = place.with_name(f"{place.name}.{os.getpid()}")
    with suppress(OSError):  # a place that may only be read: found anew each time
        beside.write_text(json.dumps(dict(list(known.items())[-_MOST_FORMS:])), encoding="utf-8")
        beside.replace(place)


def _sources(root: Path) -> Iterator[tuple[str, Path]]:
    for package in _PACKAGES:
        for path in sorted((root / package).rglob("*")):
            if path.is_file() and "__pycache__" not in path.parts:
                yield path.relative_to(root).as_posix(), path
