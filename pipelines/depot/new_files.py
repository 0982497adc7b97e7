"""Whether a person's path for an answer may be written: nothing there is written over, and no depot is written into."""

from __future__ import annotations

from pathlib import Path

from pipelines.depot.books.opening import FILE, WORD
from pipelines.errors import Unusable

#: How the register beside a depot ends, unless it is told to lie elsewhere.
_REGISTER = ".register"


def refuse_place(path: Path) -> Path:
    """``path``, absolute. Raises Unusable if something is there, or it lies in a depot or in no folder that exists."""
    place = path.absolute()
    if any((folder / name).exists() for folder in place.resolve().parents for name in (FILE, WORD)):
        raise Unusable(
            "The file would lie inside the depot, or beside its books.",
            "a place outside of it.",
            "Name another folder.",
            file=path,
        )
    if place.exists() or place.is_symlink() or place.suffix == _REGISTER:
        raise Unusable(
            "There is something of this name, or it is a depot's register; nothing is written over.",
            "the name of a new file.",
            "Name another, or move away what is there.",
            file=path,
        )
    if not place.parent.is_dir():
        raise Unusable("The folder does not exist.", "an existing folder.", "Make it first.", file=path)
    return place
