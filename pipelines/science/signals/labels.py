"""When two labels of points or channels are one name: the rule by which files are read and by which twins are told."""

from __future__ import annotations


def plain(label: str) -> str:
    """The label without regard to capitals and surrounding blanks; labels that are equal so are one name."""
    return label.strip().casefold()
