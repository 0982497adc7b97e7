"""What operating systems leave in folders and archives by themselves, known by its names. Nothing of it is data.

Names from memory of what the systems write, not from a published list.
"""

from __future__ import annotations

from collections.abc import Sequence

from pipelines.identity.file_names import SYSTEM_FILES, SYSTEM_FOLDERS
from schemas.received import Problem
from schemas.said import said

_TRASH = ".trash-"  # followed by the number of an account
#: Where a file came from, as one system notes it; the colon becomes another sign where names may not hold it.
_MARK_OF_THE_WEB = (":zone.identifier", "_zone.identifier", ".zone.identifier", "\uf03azone.identifier")


def is_litter(path: str) -> bool:
    """Whether a path (forward slashes) is, or lies in, what a system leaves behind: .DS_Store, Thumbs.db and so on.

    So do programs that keep a file open, as "~$trials.xlsx" or ".~lock.trials.csv#".
    """
    *folders, name = [part.lower() for part in path.removesuffix("/").split("/")]
    if (
        name.endswith(_MARK_OF_THE_WEB)
        or name in SYSTEM_FILES
        or name.startswith(("._", "~$"))
        or (name.startswith(".~lock.") and name.endswith("#"))
    ):
        return True
    return any(part in SYSTEM_FOLDERS or part.startswith(_TRASH) for part in (*folders, name))


def passed_over(paths: Sequence[str]) -> Problem:
    """One note for all that was passed over; ``paths`` is not empty."""
    one = len(paths) == 1
    what = "1 file that an operating system left" if one else f"{len(paths)} files that operating systems left"
    seen = (
        f"{what} in the delivery, {'' if one else 'such as '}{said(paths[0])}, {'was' if one else 'were'} passed over"
    )
    return Problem("beside", seen, "only the bag's own files")
