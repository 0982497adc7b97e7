"""The register beside the depot: who withdrew, how far the ledger reached, and the checksum of the books.

It lies outside the depot's folder, ``<depot>.register`` or where MANYSTRIDES_REGISTER says, so that no single file that
is lost, cut or put back from an older day takes a withdrawal away without anybody noticing. Runners and files stand in
it as keyed hashes, as in the books (``pipelines.depot.books.withdrawals``). Here it is read and written as a whole;
every writing command compares it with the books first (``pipelines.depot.guarding``).
"""

from __future__ import annotations

import hashlib
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from pipelines.depot.addresses import REGISTER_VARIABLE
from pipelines.depot.books.rows import Listed
from pipelines.depot.ledger import Head, canonical
from pipelines.errors import Unusable

FORM = 1


@dataclass(frozen=True)
class Register:
    """What is kept apart. depot: the word of the books; key: of the hashes; head: how far the ledger reached.

    books_sha256: of the books' file when the last command ended; empty while one is under way, after a kill, and for
    books in another database.
    """

    depot: str
    key: str
    head: Head = field(default_factory=Head)
    books_sha256: str = ""
    withdrawals: tuple[Listed, ...] = ()

    @property
    def in_force(self) -> dict[str, Listed]:
        """Tombstone -> withdrawal, of those that were not taken back."""
        return {listed.tombstone: listed for listed in self.withdrawals if not listed.taken_back}

    def with_withdrawal(self, listed: Listed) -> Register:
        """The same with a withdrawal in place of what it was."""
        others = tuple(one for one in self.withdrawals if one.tombstone != listed.tombstone)
        return replace(self, withdrawals=(*others, listed))


def read(path: Path) -> Register | None:
    """The register; None if there is none. Raises Unusable for one that is damaged."""
    import json

    try:
        if path.exists() and not path.is_file():  # a pipe would be waited for without end
            raise OSError("it is no regular file")
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as error:
        raise _damaged(path, str(error)) from None
    try:
        told = json.loads(text)
        own_sum = told.pop("sum")
        if own_sum != _sum(told):
            raise ValueError("its checksum does not fit its content")
        if told.pop("form") != FORM:
            raise ValueError(f"it is not of form {FORM}")
        head = Head(int(told["head"]["sequence"]), str(told["head"]["hash"]))
        listed = tuple(Listed(**{**one, "files": tuple(one["files"])}) for one in told["withdrawals"])
        return Register(**{**told, "head": head, "withdrawals": listed})
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise _damaged(path, str(error)) from None


def write(path: Path, register: Register) -> None:
    """Replace the register in one step; only its owner may read it."""
    from pipelines.depot.disk import write_bytes

    told: dict[str, Any] = {"form": FORM, **asdict(register)}
    told["sum"] = _sum(told)
    try:
        write_bytes(path, (canonical(told) + "\n").encode(), owner_only=True)
    except PermissionError as error:
        raise Unusable(
            f"The register of withdrawals cannot be written: {error.strerror}.",
            "a folder that may be written to, outside the depot.",
            f"Name a file elsewhere with --register or {REGISTER_VARIABLE}.",
            file=path,
        ) from None


def _sum(told: dict[str, Any]) -> str:
    content = {name: value for name, value in told.items() if name != "sum"}
    return hashlib.sha256(canonical(content).encode()).hexdigest()


def _damaged(path: Path, why: str) -> Unusable:
    return Unusable(
        f"The register of withdrawals is damaged: {why}.",
        "the file that the last command wrote.",
        "Put it back from your backup, or make it anew from the books with manystrides verify --repair.",
        file=path,
    )
