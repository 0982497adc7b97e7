"""The one script that a page may hold: it narrows and sorts lists. Pages work without it.

A page's policy names the script's checksum, so that a browser runs this one and no other, whatever else gets in.
"""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from markupsafe import Markup


@dataclass(frozen=True)
class Script:
    """script: its text; policy: the word by which a content policy allows it."""

    script: Markup
    policy: str


@cache
def list_script() -> Script:
    """The script of pages with lists."""
    text = (Path(__file__).parent / "static" / "lists.js").read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
    return Script(Markup(text), f"sha256-{digest}")
