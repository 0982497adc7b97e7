"""The hash of what a page says: one that would say the same is not made again."""

from __future__ import annotations

import hashlib


def digest_of(*said: object) -> str:
    """SHA-256 of plain values, by how Python writes them; the same for the same values in any process."""
    return hashlib.sha256(repr(said).encode("utf-8", "surrogatepass")).hexdigest()
