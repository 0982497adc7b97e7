"""A Python source in a plain form, in which only what it does is left: no comments, no layout, no docstrings.

Two sources with the same plain form do the same. The other way round it is not promised: what is written otherwise,
such as a name in other quotes or a bracket more, counts as another source, though it may do the same.
"""

from __future__ import annotations

import re

_TOKEN = re.compile(
    r"""
    (?P<string>[rbfuRBFU]{0,2}(?:\"\"\"(?:[^\\"]|\\.|\"(?!\"\"))*\"\"\"|'''(?:[^\\']|\\.|'(?!''))*'''
              |"(?:[^\\"\n]|\\.)*"|'(?:[^\\'\n]|\\.)*'))
    |(?P<comment>\#[^\n]*)
    |(?P<line>\r?\n[ \t\f\r\n]*)
    |(?P<space>[ \t\f]+|\\\r?\n)
    |(?P<opens>[(\[{])
    |(?P<closes>[)\]}])
    |(?P<comma>,)
    |(?P<word>\w+(?:\.\w+)*)
    |(?P<other>[^\w\s'"\#()\[\]{},\\]+|.)
    """,
    re.VERBOSE | re.DOTALL,
)
_REST = re.compile(r"[ \t\f]*(?:\#[^\n]*)?(?:\r?\n|\Z)")


def plain_forms(source: str) -> tuple[str, str]:
    """The plain form of a source, and the same with the strings that stand alone, which may be shown to somebody."""
    found: list[str] = []
    alone: set[int] = set()  # places in ``found`` of strings that stand alone
    commas: list[int] = []  # of each bracket that is open, how many it has
    spaced = False  # whether there was a space, a comment or a line within a bracket
    begins, indent = True, "\n"  # whether nothing of the line has come
    for match in _TOKEN.finditer(source):
        kind, text = match.lastgroup, match[0]
        if kind in ("space", "comment") or (kind == "line" and commas):
            spaced = True
            continue
        if kind == "line":
            begins, spaced, indent = True, False, "\n" + text.rpartition("\n")[2].replace("\r", "")
            continue
        if kind == "closes" and commas:
            if found[-1] == "," and commas[-1] > 1:
                found.pop()  # it is there or not as the line is broken or not
            commas.pop()
        if begins and kind == "string" and _ends_line(source, match.end()):
            alone.add(len(found))
            text = indent + text
        elif begins:
            found.append(indent)
        elif spaced and kind in ("word", "string") and (found[-1][-1:].isalnum() or found[-1][-1:] in "_\"'"):
            found.append(" ")
        found.append(text)
        begins, spaced = False, False
        if kind == "opens":
            commas.append(0)
        elif kind == "comma" and commas:
            commas[-1] += 1
    return "".join(one for place, one in enumerate(found) if place not in alone), "".join(found)


def _ends_line(source: str, place: int) -> bool:
    """Whether nothing but a comment follows on the line."""
    return _REST.match(source, place) is not None
