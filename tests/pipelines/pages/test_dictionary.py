"""The page of the data dictionary: what answers lead to, and whether its questions can be asked."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest

from pipelines.pages.dictionary import EXAMPLES, layers
from schemas.catalogue import TABLES
from tests.pipelines.pages.reading_html import read


def test_every_table_and_column_stands_on_it_and_answers_lead_there(demo_depot: Path) -> None:
    page, answers = (demo_depot / "pages" / name for name in ("dictionary.html", "answers.html"))
    assert 'href="dictionary.html#examples"' in answers.read_text(encoding="utf-8")
    words = read(page).words
    missing = [f.name for table in TABLES.values() for f in table.fields if f.name not in words]
    assert not missing
    assert sum(len(own) for _, _, own in layers()) == len(TABLES)


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda one: one.asks)
def test_its_questions_are_answered_by_the_demonstrations_warehouse(demo_depot: Path, example) -> None:
    with duckdb.connect(str(demo_depot / "warehouse.duckdb"), read_only=True) as connection:
        assert connection.execute(example.sql).fetchall()
