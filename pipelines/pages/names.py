"""File names of pages, made from ids that came from outside, and links to them."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable
from urllib.parse import quote

_UNSAFE = re.compile(r"[^A-Za-z0-9._-]+")
_LONGEST = 80
#: names that some file systems keep for devices, whatever the ending
_KEPT = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}


def file_names(ids: Iterable[tuple[str, str]]) -> dict[tuple[str, str], str]:
    """A file name for each (kind, id), all different, even on a disk that does not tell upper from lower case.

    An id that is safe is its own name; any other, and one that another id has taken, gets a piece of its checksum.
    """
    names: dict[tuple[str, str], str] = {}
    taken: set[str] = set()
    for kind, own in dict.fromkeys(ids):
        stem = _UNSAFE.sub("_", own).lstrip(".")[:_LONGEST]
        if stem.split(".")[0].lower() in _KEPT:
            stem = f"id-{stem}"
        if not stem or stem != own or stem.lower() in taken:
            digest = hashlib.sha256(f"{kind}/{own}".encode("utf-8", "surrogatepass")).hexdigest()
            stem = f"{stem or 'page'}-{digest[:12]}"
        taken.add(stem.lower())
        names[kind, own] = f"{stem}.html"
    return names


def link(*parts: str) -> str:
    """A relative link, percent-encoded part by part."""
    return "/".join(quote(part, safe="") if part != ".." else part for part in parts)
