"""How the templates of the pages are read, and the words and filters they may use."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from pipelines.pages import words
from pipelines.pages.change_over import CAUTION_WORDS
from pipelines.pages.charts.wave import wave
from pipelines.pages.table_csv import with_csv

if TYPE_CHECKING:
    from jinja2 import Environment


def page_style() -> dict[str, Any]:
    """What every page looks like: its style sheet and the wave at its head."""
    css = (Path(__file__).parent / "static" / "pages.css").read_text(encoding="utf-8")
    return {"css": Markup(css), "wave": wave()}


@cache
def templates() -> Environment:
    """An environment that escapes every text and refuses a name it does not know."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape

    made = Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=select_autoescape(("html.j2",), default=True, default_for_string=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters |= {
        "check_words": words.check_words,
        "counted": words.counted,
        "size_words": words.size_words,
        "time_words": words.time_words,
        "joined": words.joined,
        "plain": lambda word: word.replace("_", " "),
        "signed": words.signed,
        "sized": words.sized,
        "minus": words.with_minus,
        "with_csv": with_csv,
        "p_words": words.p_words,
    }
    made.globals |= {
        "SIGNS": words.SIGNS,
        "STATUS_WORDS": words.STATUS_WORDS,
        "WEIGHT_WORDS": words.WEIGHT_WORDS,
        "visit_words": words.visit_words,
        "NO_FINDING": words.NO_FINDING,
        "caution_words": lambda kind: " ".join(CAUTION_WORDS.get(kind, ("", kind.replace("_", " ")))),
    }
    return made
