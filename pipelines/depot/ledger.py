"""The ledger: who did what to which delivery, when and why; append-only, one JSON object per line.

Each line carries the hash of the line before it, so that a changed, removed or inserted line is found by ``verify``.
Lines cut off at the end cannot be seen in the chain itself; for that the depot notes after each run how far the ledger
reached, and ``verify`` compares.

A kill while a line is being written can leave the last line torn. The next writer removes the torn rest, and says so
in a line of its own that holds the removed text. Nothing else in the file is ever changed.
"""

from __future__ import annotations

import getpass
import hashlib
import json
import os
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

_NOTHING_BEFORE = "0" * 64
_KEYS = frozenset({"sequence", "utc", "actor", "what", "about", "why", "details", "previous", "hash"})


@dataclass(frozen=True)
class Head:
    """How far a ledger reaches: number and hash of its last line. (0, zeros) when empty."""

    sequence: int = 0
    hash: str = _NOTHING_BEFORE


@dataclass(frozen=True)
class LedgerProblem:
    """A line that does not fit. ``line`` counts from 1."""

    line: int
    text: str


def whoami() -> str:
    """The operating system's user name; the actor where none is given."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return f"uid {os.getuid()}"


class Ledger:
    """Appends to the ledger at ``path``; only the depot's writer may."""

    def __init__(self, path: Path, actor: str) -> None:
        self.path = path
        self.actor = actor

    def write(self, what: str, about: str, why: str, **details: Any) -> Head:
        """Append one line and sync it. ``what``: a short word; ``about``: a delivery or "depot"."""
        head, torn = self._end()
        if torn:
            self._cut(torn)
            self._append(head, "repaired", "ledger", "The last line was torn.", {"removed": _text(torn)})
            head, _ = self._end()
        return self._append(head, what, about, why, details)

    def head(self) -> Head:
        """How far the ledger reaches."""
        return self._end()[0]

    def results(self) -> set[str]:
        """The results of deliveries that the ledger names."""
        entries = (_parsed(line) for _, line in _lines(self.path))
        return {entry["details"]["result"] for entry in entries if entry and "result" in entry["details"]}

    def abouts(self) -> set[str]:
        """Everything the ledger has a line about."""
        entries = (_parsed(line) for _, line in _lines(self.path))
        return {entry["about"] for entry in entries if entry}

    def _append(self, head: Head, what: str, about: str, why: str, details: dict[str, Any]) -> Head:
        entry: dict[str, Any] = {
            "sequence": head.sequence + 1,
            "utc": datetime.now(UTC).isoformat(timespec="milliseconds"),
            "actor": self.actor,
            "what": what,
            "about": about,
            "why": why,
            "details": details,
            "previous": head.hash,
        }
        entry["hash"] = _hash(entry)
        self.path.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(self.path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o644)
        try:
            line = (_canonical(entry) + "\n").encode()
            while line:
                line = line[os.write(handle, line) :]
            os.fsync(handle)
        finally:
            os.close(handle)
        return Head(entry["sequence"], entry["hash"])

    def _end(self) -> tuple[Head, bytes]:
        """The last whole line's head, and the bytes of a torn line after it."""
        head, torn = Head(), b""
        for _, line in _lines(self.path):
            if line.endswith(b"\n"):
                entry = _parsed(line)
                head = Head(entry["sequence"], entry["hash"]) if entry else Head(head.sequence + 1, head.hash)
            else:
                torn = line
        return head, torn

    def _cut(self, torn: bytes) -> None:
        with self.path.open("rb+") as stream:
            stream.seek(-len(torn), os.SEEK_END)
            stream.truncate()
            os.fsync(stream.fileno())


def verify(path: Path, reached: Head | None = None) -> list[LedgerProblem]:
    """Everything that does not fit in the ledger; empty if it is whole. ``reached``: how far it once went."""
    problems: list[LedgerProblem] = []
    before = Head()
    number = 0
    for number, line in _lines(path):
        if not line.endswith(b"\n"):
            problems.append(
                LedgerProblem(
                    number,
                    "the line is torn, as after a kill while it was written; the next run removes it and says so",
                )
            )
            break
        entry = _parsed(line)
        if entry is None:
            problems.append(LedgerProblem(number, "the line is not an entry of this ledger"))
            continue
        problems += [LedgerProblem(number, text) for text in _faults(entry, before)]
        if reached and entry["sequence"] == reached.sequence and entry["hash"] != reached.hash:
            problems.append(LedgerProblem(number, "the line is not the one that was here after an earlier run"))
        before = Head(entry["sequence"], entry["hash"])
    if reached and before.sequence < reached.sequence:
        problems.append(
            LedgerProblem(number + 1, f"lines are missing at the end: the ledger once reached entry {reached.sequence}")
        )
    return problems


def _faults(entry: dict[str, Any], before: Head) -> Iterator[str]:
    if _hash({key: value for key, value in entry.items() if key != "hash"}) != entry["hash"]:
        yield "the line was changed after it was written: its hash does not fit its content"
    if entry["previous"] != before.hash:
        yield "the line does not follow the line before it: one was changed, removed or inserted"
    elif entry["sequence"] != before.sequence + 1:
        yield f"the line has number {entry['sequence']}, expected {before.sequence + 1}"


def _lines(path: Path) -> Iterator[tuple[int, bytes]]:
    if path.exists():
        with path.open("rb") as stream:
            yield from enumerate(stream, start=1)


def _parsed(line: bytes) -> dict[str, Any] | None:
    try:
        entry = json.loads(line)
    except ValueError:
        return None
    fits = isinstance(entry, dict) and entry.keys() == _KEYS
    return entry if fits and isinstance(entry["sequence"], int) and isinstance(entry["hash"], str) else None


def _canonical(value: dict[str, Any]) -> str:
    return json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def _hash(entry: dict[str, Any]) -> str:
    return hashlib.sha256(_canonical(entry).encode()).hexdigest()


def _text(torn: bytes) -> str:
    return torn.decode("utf-8", errors="backslashreplace")
