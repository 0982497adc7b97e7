"""Words by which names are told from other words: common first names, and words of the trade written with a capital.

The lists are the files in ``words/``, each with its source and licence at its top, read when they are first needed.
They are small on purpose: a laboratory's own list (``word_list``) is what finds its own people.
"""

from __future__ import annotations

from functools import cache
from importlib import resources


@cache
def words(name: str) -> frozenset[str]:
    """The words of the list ``name``, in small letters without accents. Raises FileNotFoundError if there is none."""
    text = resources.files("pipelines.identity").joinpath("words", f"{name}.txt").read_text(encoding="utf-8")
    return frozenset(line for line in text.splitlines() if line and not line.startswith("#"))
