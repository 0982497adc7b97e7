"""The page of the reference with the words of the trade; the words are in ``schemas.glossary``."""

from __future__ import annotations

from schemas.convert.to_markdown import markdown_table
from schemas.glossary import TERMS


def glossary() -> str:
    """Every term with its gloss, as Markdown."""
    rows = [(f"**{t.term}**", t.gloss, t.also, ", ".join(map(_link, t.names))) for t in TERMS]
    lines = ["# Glossary", "", "The trade's own term first, then what it means in plain words.", ""]
    lines += markdown_table(("Term", "In plain words", "Also said", "Tables and columns"), rows)
    return "\n".join(lines) + "\n"


def contents() -> str:
    """The line of the table of contents, with the terms, so that whoever looks for one finds it there."""
    return f"[Glossary](glossary.md): words of the trade in plain words: {', '.join(t.term for t in TERMS)}"


def _link(name: str) -> str:
    return f"[{name}](tables/{name.partition('.')[0]}.md)"
