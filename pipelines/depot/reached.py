"""How far the ledger reached when the last command ended, in a small file of the depot's own folder.

It is the third that knows, beside books and register: if both of them are put back from the same older day, they agree
with each other, and a withdrawal since then would be forgotten. Its first line has the form of an exported head, which
people keep elsewhere; the second is a checksum of the first, so that a damaged file is not taken for one that knows
another ledger.
"""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from pipelines.depot.disk import write_bytes
from pipelines.depot.ledger import Head
from pipelines.errors import Unusable

NAME = "books.head"
_BEGINS = "Head:"
#: One line is what an earlier manystrides wrote.
_FORM = re.compile(r"(Head: ([0-9]{1,18}) ([0-9a-f]{64}))\n(?:Sum: ([0-9a-f]{64})\n)?")
_ANEW = (
    "If you keep a head of the ledger elsewhere, compare it first (manystrides verify --head FILE). Then run "
    "manystrides verify --repair: where books and register agree, it writes this file anew."
)


def line(head: Head) -> str:
    """The line that tells a head."""
    return f"{_BEGINS} {head.sequence} {head.hash}"


def note(root: Path, head: Head) -> None:
    """Write it into the depot's folder, if it is another than stands there."""
    path, told = root / NAME, line(head)
    content = f"{told}\nSum: {_sum(told)}\n".encode()
    if not path.is_file() or path.read_bytes() != content:
        write_bytes(path, content, owner_only=True)


def known(root: Path) -> Head | None:
    """What stands in the depot's folder; None without the file. Raises Unusable for one that is damaged."""
    path = root / NAME
    try:
        if not path.is_file():
            if path.exists() or path.is_symlink():
                raise ValueError("it is no regular file")
            return None
        found = _FORM.fullmatch(path.read_bytes().decode("ascii"))
        if found is None:
            raise ValueError("it has another form")
        if found[4] not in (None, _sum(found[1])):
            raise ValueError("its checksum does not fit its content")
    except (OSError, ValueError) as error:
        raise _unknown(path, f"How far the ledger reached cannot be read: {error}.") from None
    return Head(int(found[2]), found[3])


def missing(root: Path) -> Unusable:
    """What is told where the file is not there, though a command once ended in this depot."""
    return _unknown(root / NAME, "The file is missing.")


def read_head(path: Path) -> Head:
    """A head of the ledger from a file that was exported. Raises Unusable."""
    try:
        for told in path.read_text(encoding="utf-8").splitlines():
            words = told.split()
            if len(words) == 3 and words[0] == _BEGINS:
                return Head(int(words[1]), words[2])
    except (OSError, ValueError) as error:
        raise _no_head(path, str(error)) from None
    raise _no_head(path, f"there is no line that begins with {_BEGINS}")


def _sum(told: str) -> str:
    return hashlib.sha256(told.encode()).hexdigest()


def _unknown(path: Path, seen: str) -> Unusable:
    return Unusable(seen, "how far the ledger reached when the last command ended.", _ANEW, file=path)


def _no_head(path: Path, why: str) -> Unusable:
    return Unusable(
        f"No head of a ledger can be read: {why}.",
        f"a line such as: {_BEGINS} 12 9f86d08...",
        "Name the file that was exported.",
        file=path,
    )
