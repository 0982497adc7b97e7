"""The list of names that a laboratory or study keeps beside its study file, so that they are found for certain.

One name on a line, UTF-8; lines that begin with # are left out. The list is read, never copied, shown or logged.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from pathlib import Path

from pipelines.errors import Unusable
from pipelines.identity import file_names
from pipelines.identity.identifiers import NOBODY, surely_in_path
from pipelines.identity.names import KnownNames
from pipelines.identity.vocabulary import Vocabulary
from schemas.study import Study

FILE_NAME = "names.txt"


def names_in(path: Path) -> KnownNames:
    """The names in a word list. Raises Unusable if it cannot be read."""
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError):
        raise Unusable(
            "The list of names cannot be read.",
            "a UTF-8 text file with one name on a line.",
            "Correct the path, or save the list as UTF-8.",
            file=path,
        ) from None
    return KnownNames.of(line for line in lines if not line.startswith("#"))


def names_beside(study_path: Path) -> KnownNames:
    """The names in ``names.txt`` beside the study file; none if there is no such file."""
    path = study_path.parent / FILE_NAME
    return names_in(path) if path.is_file() else NOBODY


def names_shown(study_path: Path, study: Study, came: Collection[str] = ()) -> Callable[[str], bool]:
    """Whether a name of a file or folder in the inbox may be told: it is made of known words and is nobody's.

    came: names that the books know; such a one stays what it is called when the study's words change.
    """
    known, plain = names_beside(study_path), Vocabulary.of(study)
    return lambda name: (name in came or file_names.fits(name, plain)) and not surely_in_path(name, known)
