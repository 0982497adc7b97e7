"""A person's path for an answer: nothing is written over, no depot written into; all of it is there or nothing."""

from __future__ import annotations

import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pipelines.depot.books.where import FILE, WORD
from pipelines.depot.disk import sync_tree
from pipelines.errors import Unusable

#: How the register beside a depot ends, unless it is told to lie elsewhere.
_REGISTER = ".register"


def refuse_place(path: Path, *, empty_folder: bool = False) -> Path:
    """``path``, absolute. Raises Unusable if something is there, or it lies in a depot or in no folder that exists.

    empty_folder: a folder with nothing in it may be there.
    """
    place = path.absolute()
    if any((folder / name).exists() for folder in place.resolve().parents for name in (FILE, WORD)):
        raise Unusable(
            "The file would lie inside the depot, or beside its books.",
            "a place outside of it.",
            "Name another folder.",
            file=path,
        )
    free = empty_folder and _is_empty_folder(place)
    if not free and (place.exists() or place.is_symlink() or place.suffix == _REGISTER):
        raise Unusable(
            "There is something of this name, or it is a depot's register; nothing is written over.",
            "the name of a new file.",
            "Name another, or move away what is there.",
            file=path,
        )
    if not place.parent.is_dir():
        raise Unusable("The folder does not exist.", "an existing folder.", "Make it first.", file=path)
    return place


def _is_empty_folder(place: Path) -> bool:
    """Not the one that the caller stands in, who would stand in none when another takes its place."""
    own = place.is_dir() and not place.is_symlink() and not place.samefile(Path.cwd())
    return own and not any(place.iterdir())


@contextmanager
def part_beside(to: Path) -> Iterator[Path]:
    """A new name beside ``to``, for the folder in which it is made (``put_in_place``); it is gone after this."""
    part = to.with_name(f".{to.name}.{secrets.token_hex(4)}.part")
    try:
        yield part
    finally:
        shutil.rmtree(part, ignore_errors=True)


def put_in_place(made: Path, to: Path, *, empty_folder: bool = False) -> None:
    """Give a finished file or folder its name, when all of it is on the disk. Raises Unusable as ``refuse_place``."""
    refuse_place(to, empty_folder=empty_folder)
    sync_tree(made)
    made.rename(to)
