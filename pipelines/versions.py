"""Which code made a row: the package's version and a short hash of its sources.

The hash changes with every changed check, outcome or table, so that results of an older code are recognised and made
again. Pages and the command line are left out: they change what is shown, never what is stored.
"""

from __future__ import annotations

import hashlib
from functools import cache
from importlib import metadata
from pathlib import Path

_PACKAGES = ("schemas", "checks", "pipelines")
_ONLY_SHOWN = (
    "pipelines/pages/",
    "pipelines/cli.py",
    "pipelines/command/",
    "pipelines/lab/",
    "pipelines/release/",
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
    """8 hex digits over names and contents of the sources of the three packages below ``root``."""
    digest = hashlib.sha256()
    for package in _PACKAGES:
        for path in sorted((root / package).rglob("*")):
            name = path.relative_to(root).as_posix()
            if not path.is_file() or "__pycache__" in path.parts:
                continue
            shown = path.suffix != ".py" or name.startswith(_ONLY_SHOWN)
            if what_is_only_shown or not shown:
                content = path.read_bytes()
                digest.update(f"{name}\0{len(content)}\0".encode() + content)
    return digest.hexdigest()[:8]
