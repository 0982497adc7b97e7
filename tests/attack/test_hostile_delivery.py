"""One delivery full of script, SQL and formulas in names, cells, labels and file names, taken in from end to end."""

from __future__ import annotations

import csv
import io
import zipfile
from pathlib import Path

import pytest

from pipelines.assets.run import run
from pipelines.depot.storage import Depot
from pipelines.pool.query import ask, write_answer
from tests.delivery_builders import STUDY, a_delivery, planned

SCRIPT = "<script>alert(1)</script><img src=x onerror=alert(2)>"
SQL = "x'); DROP TABLE trials; --"
FORMULA = "=cmd|' /C calc'!A0"


def with_hostile_texts(tables: dict[str, bytes]) -> dict[str, bytes]:
    """Comments, a condition and a kind nobody planned, and a trial whose file's name is SQL."""
    rows = list(csv.DictReader(io.StringIO(tables["trials.csv"].decode())))
    running = next(row for row in rows if row["kind"] == "running")
    running["comment"] = SCRIPT
    more = [
        running | {"trial_id": "T-2", "file": f"trials/{SQL}.c3d", "comment": SQL, "trial_order": "8"},
        running | {"trial_id": "T-3", "condition": SCRIPT, "comment": FORMULA, "trial_order": "9"},
        running | {"trial_id": SQL, "kind": SCRIPT, "trial_order": "10"},
    ]
    text = io.StringIO()
    writer = csv.DictWriter(text, list(running), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows + more)
    content = planned("FS-01", "1")[1]
    label = content.index(b"lateral", 512) if b"lateral" in content else content.index(b"LABELS", 512) + 12
    script = b"<script>"
    return {
        "trials.csv": text.getvalue().encode(),
        f"trials/{SQL}.c3d": content[:label] + script + content[label + len(script) :],
    }


@pytest.fixture(scope="module")
def depot(tmp_path_factory: pytest.TempPathFactory) -> Depot:
    place = tmp_path_factory.mktemp("hostile")
    folder = a_delivery(place / "sound")
    tables = {p.name: p.read_bytes() for p in (folder / "data").glob("*.csv")}
    a_delivery(place / "inbox", replace_files=with_hostile_texts(tables))
    run(STUDY, place / "inbox", place / "depot", "tester", workers=1)
    return Depot(place / "depot")


def pages(depot: Depot) -> dict[Path, str]:
    return {path: path.read_text("utf-8") for path in depot.root.rglob("*.html")}


def test_no_page_holds_a_text_of_the_delivery_as_markup(depot: Depot) -> None:
    found = pages(depot)
    assert len(found) > 3
    for path, text in found.items():
        assert "<script>alert" not in text, path
        assert "<img src=x" not in text, path
    shown = [path for path, text in found.items() if "&lt;script&gt;" in text]
    assert shown, "no page shows the hostile text at all, so this test would prove nothing"


def test_sql_in_names_and_cells_is_only_text(depot: Depot) -> None:
    names = (
        ask(depot.warehouse, "SELECT table_name FROM duckdb_tables() WHERE schema_name = 'main'").column(0).to_pylist()
    )
    assert {"trials", "footfalls", "findings"} <= set(names)
    assert ask(depot.warehouse, "SELECT count(*) FROM findings").column(0).to_pylist()[0] > 3


def test_the_exported_findings_hold_no_formula(depot: Depot, tmp_path: Path) -> None:
    answer = ask(depot.warehouse, f"SELECT *, '{FORMULA.replace(chr(39), chr(39) * 2)}' AS formula FROM findings")
    write_answer(answer, tmp_path / "findings.csv")
    rows = list(csv.reader(io.StringIO((tmp_path / "findings.csv").read_text("utf-8"), newline="")))
    assert len(rows) == answer.num_rows + 1
    assert {row[-1] for row in rows[1:]} == {"'" + FORMULA}
    assert not [cell for row in rows for cell in row if cell.lstrip().startswith(("=", "@"))]


def test_an_archive_of_the_same_bag_is_judged_the_same(depot: Depot, tmp_path: Path) -> None:
    """Hostile names go through a ZIP file as through a folder."""
    folder = a_delivery(tmp_path / "sound")
    tables = {p.name: p.read_bytes() for p in (folder / "data").glob("*.csv")}
    archive = a_delivery(tmp_path / "inbox", replace_files=with_hostile_texts(tables), zipped=True)
    assert any(SQL in name for name in zipfile.ZipFile(archive).namelist())
    run(STUDY, tmp_path / "inbox", tmp_path / "depot", "tester", workers=1)
    sql = "SELECT check_name, count(*) AS n FROM findings GROUP BY ALL ORDER BY ALL"
    assert ask(Depot(tmp_path / "depot").warehouse, sql).to_pylist() == ask(depot.warehouse, sql).to_pylist()
