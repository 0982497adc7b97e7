"""Proves the log beside SQLite's books, which a killed command leaves: that nothing in it was damaged that counted.

SQLite itself reads the log up to the first frame whose checksum does not fit, and passes silently over the rest, also
over transactions that had ended. The form: "WAL-mode File Format", https://www.sqlite.org/walformat.html and section 4
of https://www.sqlite.org/fileformat2.html.
"""

from __future__ import annotations

import struct
import sys
from array import array
from pathlib import Path

_HEADER, _FRAME = 32, 24
_LITTLE, _BIG = 0x377F0682, 0x377F0683  # order of bytes in which the checksums were computed
_WORD = 0xFFFFFFFF


def log_of(books: Path) -> Path:
    """Where the log of a database is, if there is one."""
    return books.with_name(f"{books.name}-wal")


def has_log(books: Path) -> bool:
    """Whether something stands in the log that the database itself does not hold yet."""
    log = log_of(books)
    return log.exists() and log.stat().st_size > 0


def damage_of_log(books: Path) -> str | None:
    """What is wrong with the log, as a sentence; None if it is whole, or ends within a transaction as after a kill.

    A frame is told as damaged where it, or one after it, says that a transaction ended there: of that something is
    lost. What was being written when the command was killed ends no transaction.
    """
    content = log_of(books).read_bytes() if has_log(books) else b""
    if len(content) < _HEADER + _FRAME:
        return None
    magic, _, page, _, *salts = struct.unpack(">6I", content[:24])
    sums = struct.unpack(">2I", content[24:_HEADER])
    if magic not in (_LITTLE, _BIG) or page < 512 or page & (page - 1) or _summed(magic, content[:24], (0, 0)) != sums:
        return "The head of the log is damaged."
    whole = True
    frames = range(_HEADER, len(content) - _FRAME - page + 1, _FRAME + page)
    for number, start in enumerate(frames, start=1):
        _, ends, *own = struct.unpack(">4I", content[start : start + 16])
        if own != salts and whole:
            whole = False  # the rest of an earlier log begins here, or a frame is damaged: later ones tell
        if whole:
            body = content[start : start + 8], content[start + _FRAME : start + _FRAME + page]
            for part in body:
                sums = _summed(magic, part, sums)
            whole = struct.unpack(">2I", content[start + 16 : start + _FRAME]) == sums
        if not whole and own == salts and ends:
            return f"Its log is damaged: frame {number} of {len(frames)} ends a transaction that cannot be read whole."
    return None


def _summed(magic: int, content: bytes, sums: tuple[int, int]) -> tuple[int, int]:
    words = array("I", content)
    if (sys.byteorder == "little") != (magic == _LITTLE):
        words.byteswap()
    one, two = sums
    for first, second in zip(words[::2], words[1::2], strict=True):
        one = (one + first + two) & _WORD
        two = (two + second + one) & _WORD
    return one, two
