"""Whether a path that a sender wrote, in an archive, a manifest or a table, is one that may be used. Opens nothing."""

from __future__ import annotations

import unicodedata

_LONGEST_PATH = 1024
_LONGEST_NAME = 200  # bytes; file systems take 255, and a few more are needed beside a file while it is written


def path_fault(path: str) -> str | None:
    """Why a path of an archive or a manifest cannot be used; None if it can. Folders end in "/"."""
    return way_fault(path) or name_fault(path)


def way_fault(path: str) -> str | None:
    """Why a path is not one inside the delivery, whatever its names are; None if it is."""
    parts = path.removesuffix("/").split("/")
    if "\\" in path:
        return "has a backslash"
    if path.startswith("/") or (len(path) > 1 and path[1] == ":"):
        return "is absolute"
    if ".." in parts:
        return "leads out of the delivery ('..')"
    if any(part in ("", ".") for part in parts):
        return "has an empty part"
    return "begins with '~'" if path.startswith("~") else None


def name_fault(path: str) -> str | None:
    """Why a path is not one that every computer can hold; None if it is."""
    if any(ord(c) < 32 or 0x7F <= ord(c) < 0xA0 for c in path):
        return "has a control character"
    if _not_utf8(path):
        return "is not valid text"
    if len(path) > _LONGEST_PATH or any(len(part.encode()) > _LONGEST_NAME for part in path.split("/")):
        return "is too long"
    return None


def same_on_some_disk(path: str) -> str:
    """A form equal for two paths that some file system takes for one: other case, other composition of accents."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", path.removesuffix("/")).casefold())


def shown(path: str) -> str:
    """A path as a message may show it."""
    text = "".join(c if c.isprintable() else "?" for c in path[:120])
    return f"'{text}{'...' if len(path) > 120 else ''}'"


def _not_utf8(path: str) -> bool:
    try:
        path.encode()
    except UnicodeEncodeError:
        return True
    return False
