"""Text in bytes of a recording that no part of the file uses: gaps, padding, what follows the end.

Looked for in the writings that text is stored in: UTF-8, one byte a letter, two bytes a letter. What the parts of a
file are is in ``c3d_texts`` and ``edf_texts``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from pipelines.identity.texts import Text, decoded

#: Left-over bytes of a whole file that is no recording are looked through this far.
_MOST = 1 << 20
#: Letters one after the other: of one byte each, of UTF-8 in Latin and in other writings, of two bytes in either order.
#: Shorter runs are met in any bytes by chance.
_RUNS = tuple(
    (re.compile(pattern, re.DOTALL), encoding)
    for pattern, encoding in (
        (rb"(?:[\x20-\x7e]|\xc3[\x80-\xbf]){6,}", "utf-8"),
        (rb"[A-Za-z\xc0-\xff]{5,}", "one"),
        (rb"(?:(?:[\xcd-\xdb][\x80-\xbf]){3,}|(?:[\xe0-\xed][\x80-\xbf]{2}){2,})"
         rb"(?:[\x20-\x7e]|[\xcd-\xdb][\x80-\xbf]|[\xe0-\xed][\x80-\xbf]{2})*", "utf-8"),
        (rb"(?:[\x20-\x7e]\0){4,}", "utf-16-le"),
        (rb"(?:\0[\x20-\x7e]){4,}", "utf-16-be"),
        (rb"(?:[\x10-\x5f]\x04){4,}", "utf-16-le"),
        (rb"(?:\x04[\x10-\x5f]){4,}", "utf-16-be"),
    )
)  # fmt: skip
#: A word with letters of one byte each beyond ASCII: in capitals at most at its beginning.
_WORD = re.compile(rb"[A-Z\xc0-\xde]?(?=[a-z\xdf-\xff]*[a-z]{2})[a-z\xdf-\xff]{4,}")
_LEAST_LETTERS = 2


def left_over(data: bytes, taken: list[tuple[int, int]]) -> Iterator[Text]:
    """Legible text in the bytes that none of the spans ``taken`` covers."""
    at = 0
    for start, end in [*sorted(taken), (len(data), len(data))]:
        if start > at:
            yield from _legible(data[at : min(start, at + _MOST)], at)
        at = max(at, end)


def _legible(gap: bytes, at: int) -> Iterator[Text]:
    """Each stretch of letters once, as the writing that makes the most of it."""
    if not gap.strip(b"\0 \xff"):
        return
    found: list[tuple[int, int, str]] = []
    for pattern, encoding in _RUNS:
        for match in pattern.finditer(gap):
            if encoding == "one" and not _WORD.fullmatch(match[0]):
                continue
            text = decoded(match[0]) if encoding in ("one", "utf-8") else match[0].decode(encoding, errors="replace")
            if sum(c.isalpha() for c in text) >= _LEAST_LETTERS:
                found.append((match.start(), match.end(), text.strip()))
    covered = 0
    for start, end, text in sorted(found, key=lambda one: (one[0], -one[1])):
        if end > covered:
            yield Text(f"unused bytes near byte {at + start}", "unused", text, at + start, at + end)
            covered = end
