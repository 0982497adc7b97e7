"""The glossary names what is there, and whoever looks for a word of the trade finds it in the table of contents."""

from __future__ import annotations

from pathlib import Path

from schemas.catalogue import TABLES
from schemas.glossary import TERMS

INDEX = Path(__file__).resolve().parents[2] / "docs" / "reference" / "index.md"
ASKED = (
    "EMG", "Static calibration trial", "Crosstalk", "Movement artefact", "ECG contamination", "Gap filling",
    "Vertical average loading rate", "Footfall", "Stance",
)  # fmt: skip


def test_words_of_the_trade_are_found_in_the_contents_of_the_docs() -> None:
    (line,) = [line for line in INDEX.read_text(encoding="utf-8").splitlines() if "glossary.md" in line]
    assert not [word for word in ASKED if word not in line]


def test_tables_and_columns_that_the_glossary_names_are_there_and_terms_stand_in_order() -> None:
    for term in TERMS:
        for name in term.names:
            table, _, column = name.partition(".")
            assert table in TABLES, name
            assert not column or column in TABLES[table].column_names, name
    assert [t.term for t in TERMS] == sorted((t.term for t in TERMS), key=str.lower)
