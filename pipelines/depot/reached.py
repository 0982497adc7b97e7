"""How far the ledger reached when the last command ended, in a small file of the depot's own folder.

It is the third that knows, beside books and register: if both of them are put back from the same older day, they agree
with each other, and a withdrawal since then would be forgotten. The form is that of an exported head, which people keep
elsewhere.
"""

from __future__ import annotations

from pathlib import Path

from pipelines.depot.ledger import Head
from pipelines.depot.store import write_bytes
from pipelines.errors import Unusable

NAME = "books.head"
_BEGINS = "Head:"


def line(head: Head) -> str:
    """The line that tells a head."""
    return f"{_BEGINS} {head.sequence} {head.hash}"


def note(root: Path, head: Head) -> None:
    """Write it into the depot's folder, if it is another than stands there."""
    path, content = root / NAME, f"{line(head)}\n".encode()
    if not path.is_file() or path.read_bytes() != content:
        write_bytes(path, content, owner_only=True)


def known(root: Path) -> Head | None:
    """What stands in the depot's folder; None without the file. Raises Unusable."""
    return read_head(root / NAME) if (root / NAME).exists() else None


def read_head(path: Path) -> Head:
    """A head of the ledger from a file. Raises Unusable."""
    try:
        for told in path.read_text(encoding="utf-8").splitlines():
            words = told.split()
            if len(words) == 3 and words[0] == _BEGINS:
                return Head(int(words[1]), words[2])
    except (OSError, ValueError) as error:
        raise _no_head(path, str(error)) from None
    raise _no_head(path, f"there is no line that begins with {_BEGINS}")


def _no_head(path: Path, why: str) -> Unusable:
    remedy = "Name the file that was exported."
    if path.name == NAME:
        remedy = "Run manystrides ledger verify; if the ledger is whole, remove this file, and it is written anew."
    return Unusable(
        f"No head of a ledger can be read: {why}.", f"a line such as: {_BEGINS} 12 9f86d08...", remedy, file=path
    )
