import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.intake import csv_records
from pipelines.intake import tables as intake_tables
from pipelines.intake.tables import read_tables
from schemas.catalogue import tables_of
from schemas.convert.to_arrow import empty_frame, to_arrow_table
from schemas.model import Layer
from tests.pipelines.intake.bags import PAYLOAD
from tests.tries import tries

DELIVERY_TABLES = {table.name: table for table in tables_of(Layer.DELIVERY)}


def read(folder, **changes: str | bytes | None):
    """Tables and problems of the good payload with files replaced (``trials=...``) or left out (None)."""
    folder.mkdir(exist_ok=True)
    files = {n: c for n, c in PAYLOAD.items() if n.endswith(".csv")} | {f"{k}.csv": v for k, v in changes.items()}
    for name, content in files.items():
        if content is not None:
            (folder / name).write_bytes(content.encode() if isinstance(content, str) else content)
    return read_tables(folder)[:2]


def only(problems):
    (problem,) = problems
    return problem.kind, problem.file, problem.place


def test_good_tables_are_read_and_typed_and_fit_their_definitions(tmp_path):
    tables, problems = read(tmp_path)
    assert problems == []
    assert tables["sent_sessions"].at[0, "mass_kg"] == 62.5
    for name, table in DELIVERY_TABLES.items():
        to_arrow_table(table, tables[name])


def test_a_missing_optional_table_is_empty_and_no_problem_and_a_required_one_is(tmp_path):
    tables, problems = read(tmp_path, sessions=None)
    assert only(problems) == ("table", "sessions.csv", None)
    for name in ("sent_sessions", "sent_weeks"):
        expected = empty_frame(DELIVERY_TABLES[name])
        assert list(tables[name].columns) == list(expected.columns)
        assert dict(tables[name].dtypes) == dict(expected.dtypes)
        assert tables[name].empty


def test_a_byte_order_mark_and_any_line_end_are_taken(tmp_path):
    text = PAYLOAD["trials.csv"]
    for number, content in enumerate(
        [f"\ufeff{text}", text.replace("\n", "\r\n"), text.replace("\n", "\r"), text[:-1]]
    ):
        tables, problems = read(tmp_path / str(number), trials=content)
        assert problems == []
        assert tables["sent_trials"]["trial_id"].tolist() == ["T1"]


def test_quotes_hold_commas_and_quotes(tmp_path):
    line = 'T2,S1,shod,running,trials/T2.c3d,,2,"warm, ""easy"" run"\n'
    tables, problems = read(tmp_path, trials=PAYLOAD["trials.csv"] + line)
    assert problems == []
    assert tables["sent_trials"].at[1, "comment"] == 'warm, "easy" run'


def test_text_that_is_not_utf8_is_named_with_its_line(tmp_path):
    content = PAYLOAD["trials.csv"].encode() + "T2,S1,shod,running,x,,2,kühl\n".encode("latin-1")
    tables, problems = read(tmp_path, trials=content)
    assert only(problems) == ("table", "trials.csv", "line 3")
    assert "line 3" in problems[0].seen
    assert "0x" not in problems[0].seen
    assert "CSV UTF-8" in problems[0].expected
    assert tables["sent_trials"].empty


@pytest.mark.parametrize(("separator", "words"), [(";", "semicolons"), ("\t", "tabs"), ("|", "bars")])
def test_another_separator_is_named(separator, words, tmp_path):
    _, problems = read(tmp_path, trials=PAYLOAD["trials.csv"].replace(",", separator))
    assert only(problems) == ("table", "trials.csv", "line 1")
    assert words in problems[0].seen


def test_a_ragged_row_is_a_problem_with_its_line_and_the_others_are_read(tmp_path):
    more = "T2,S1,shod,running,x,,2,a,b\nT3,S1,shod,running,trials/T3.c3d,,3,\nT4,S1\n"
    tables, problems = read(tmp_path, trials=PAYLOAD["trials.csv"] + more)
    assert [(p.kind, p.place) for p in problems] == [("table", "line 3"), ("table", "line 5")]
    assert "9 cells" in problems[0].seen
    assert "8 cells" in problems[0].expected
    assert tables["sent_trials"]["trial_id"].tolist() == ["T1", "T3"]


def test_very_many_ragged_rows_are_listed_up_to_a_limit_and_then_counted(tmp_path):
    _, problems = read(tmp_path, trials=PAYLOAD["trials.csv"] + "x\n" * 100)
    assert len(problems) == intake_tables.MOST_RAGGED_SHOWN + 1
    assert "100 rows" in problems[-1].seen


def test_line_numbers_hold_after_blank_lines_and_line_breaks_in_cells(tmp_path):
    more = '\n\nT2,S1,shod,running,x,,2,"two\nlines"\nT3,S1,shod,flying,x,,3,\n'
    _, problems = read(tmp_path, trials=PAYLOAD["trials.csv"] + more)
    assert [p.place for p in problems] == ["line 5, column comment", "line 7, column kind"]


@pytest.mark.parametrize("content", ["", "\n\n\n", "\ufeff"])
def test_an_empty_file_is_a_problem(content, tmp_path):
    _, problems = read(tmp_path, trials=content)
    assert only(problems) == ("table", "trials.csv", None)
    assert "empty" in problems[0].seen


def test_a_quote_that_is_never_closed_is_a_problem(tmp_path):
    _, problems = read(tmp_path, trials=PAYLOAD["trials.csv"] + 'T2,S1,shod,running,"x,,2,\n')
    assert only(problems) == ("table", "trials.csv", None)


def test_a_giant_cell_is_a_problem(tmp_path):
    _, problems = read(tmp_path, trials=PAYLOAD["trials.csv"] + "T2," + "x" * 200_000 + "\n")
    assert [p.kind for p in problems] == ["table"]


def test_a_file_beyond_the_limits_is_a_problem_and_is_not_read(tmp_path, monkeypatch):
    monkeypatch.setattr(intake_tables, "MOST_BYTES", 200)
    tables, problems = read(tmp_path, trials=PAYLOAD["trials.csv"] * 3)
    assert "larger" in problems[0].seen
    assert tables["sent_trials"].empty
    monkeypatch.undo()
    monkeypatch.setattr(intake_tables, "MOST_ROWS", 2)
    _, problems = read(tmp_path, trials=PAYLOAD["trials.csv"] + "T2,S1,shod,running,x,,2,\n" * 3)
    assert "more than 2 rows" in problems[0].seen


def test_a_table_that_is_a_link_or_a_folder_is_a_problem(tmp_path):
    folder = tmp_path / "payload"
    read(folder, weeks=None)
    (folder / "weeks.csv").symlink_to(folder / "trials.csv")
    (folder / "breaths.csv").mkdir()
    problems = read_tables(folder).problems
    assert [(p.kind, p.file) for p in problems] == [("table", "breaths.csv"), ("table", "weeks.csv")]


@tries(60)
@given(
    st.binary(max_size=300) | st.text(max_size=200).map(lambda t: (PAYLOAD["trials.csv"] + t).encode(errors="replace"))
)
def test_any_bytes_make_a_table_and_problems_but_never_an_error(content):
    import tempfile
    from pathlib import Path

    with tempfile.TemporaryDirectory() as name:
        tables, problems = read(Path(name), trials=content)
    assert set(tables) == set(DELIVERY_TABLES)
    assert list(tables["sent_trials"].columns) == list(DELIVERY_TABLES["sent_trials"].column_names)
    if not problems:
        to_arrow_table(DELIVERY_TABLES["sent_trials"], tables["sent_trials"])


@pytest.mark.parametrize(
    ("flood", "words"),
    [
        ("\n" * 60_000, "more than 50000 lines"),
        ("," * 150_000, "a row of more than 104857 characters"),
        ('"\n",' * 30_000, "a row of more than 104857 characters"),
        ("T2,S1,shod,running,x,,2,\n" * 25_000, "more than 20000 rows"),
    ],
    ids=["blank_lines", "cells", "lines_in_quotes", "rows"],
)
def test_a_flood_ends_at_a_limit_and_is_never_held_in_memory(flood, words, tmp_path, monkeypatch):
    """At a tenth of every limit, since each byte that is asked for is watched."""
    import tracemalloc

    monkeypatch.setattr(csv_records, "MOST_LINES", csv_records.MOST_LINES // 10)
    monkeypatch.setattr(csv_records, "MOST_CHARACTERS", csv_records.MOST_CHARACTERS // 10)
    monkeypatch.setattr(intake_tables, "MOST_ROWS", intake_tables.MOST_ROWS // 10)
    monkeypatch.setattr(intake_tables, "MOST_BYTES", intake_tables.MOST_BYTES // 10)
    read(tmp_path / "before")  # what is imported meanwhile is no part of it
    tracemalloc.start()
    _, problems = read(tmp_path, trials=PAYLOAD["trials.csv"] + flood)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert only(problems) == ("table", "trials.csv", None)
    assert words in problems[0].seen
    assert peak < 10 * 2**20


def test_the_first_row_beyond_the_limit_refuses_the_table(tmp_path):
    row = "T{},S1,shod,running,x,,2,\n"
    header = PAYLOAD["trials.csv"].splitlines(keepends=True)[0]
    rows = "".join(map(row.format, range(intake_tables.MOST_ROWS + 1)))
    _, problems = read(tmp_path, trials=header + rows)
    assert "more than 200000 rows" in problems[0].seen


def test_a_header_of_very_many_columns_is_a_problem(tmp_path):
    _, problems = read(tmp_path, trials=",".join(f"c{i}" for i in range(600)) + "\n")
    assert only(problems) == ("table", "trials.csv", "line 1")
    assert "600 columns" in problems[0].seen


def with_rows(*more: str) -> str:
    return PAYLOAD["trials.csv"] + "".join(f"{row}\n" for row in more)


def test_rows_without_a_filled_cell_are_one_note_wherever_they_stand(tmp_path):
    blank = ",,,,,,,"
    text = f"{blank}\n" + with_rows(blank, " , ,,,,,,", "T3,S1,shod,running,trials/T3.c3d,,3,", *[blank] * 30, ",")
    tables, problems = read(tmp_path, trials=text)
    assert only(problems) == ("blank", "trials.csv", "lines 4 to 37")
    assert "33 rows" in problems[0].seen
    assert tables["sent_trials"]["trial_id"].tolist() == ["T1", "T3"]


def test_blank_columns_at_the_end_are_no_fault_but_a_value_in_one_is(tmp_path):
    wide = "".join(f"{line},,\n" for line in PAYLOAD["trials.csv"].splitlines())
    assert read(tmp_path / "a", trials=wide)[1] == []
    _, problems = read(tmp_path / "b", trials=wide + "T3,S1,shod,running,trials/T3.c3d,,3,,,late\n")
    assert only(problems) == ("table", "trials.csv", "line 3")
    assert "10 cells" in problems[0].seen


def test_one_decimal_comma_is_the_fault_of_its_cell_and_a_table_full_of_them_that_of_the_export(tmp_path):
    row = 'P2,1981,male,1.80,"70,5",1.0,shod,20\n'
    _, problems = read(tmp_path / "a", participants=PAYLOAD["participants.csv"] + row)
    assert only(problems) == ("cell", "participants.csv", "line 3, column mass_kg")
    header = PAYLOAD["participants.csv"].splitlines()[0]
    rows = "".join(f'P{i},1981,male,"1,8{i}","70,5","1,0",shod,20\n' for i in range(1, 9))
    _, problems = read(tmp_path / "b", participants=f"{header}\n{rows}")
    assert only(problems) == ("table", "participants.csv", None)
    assert "stature_m, mass_kg, leg_length_m" in problems[0].seen


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"PK\x03\x04" + bytes(100), "workbook"),
        (b"\xd0\xcf\x11\xe0" + bytes(100), "old workbook"),
        ("trial_id,x\n".encode("utf-16"), "UTF-16"),
        ("trial_id,x\n".encode("utf-16-le"), "UTF-16"),
        (b"sep=;\ntrial_id;session_id\n", "separated by semicolons, as its first line, 'sep=;', says"),
        (b'"trial_id";"session_id"\n"T1";"S1"\n', "separated by semicolons"),
        (b"\n<!DOCTYPE html><html><body><table>", "web page"),
        ("trial_id;file\nT1;k\u00fchl\n".encode("cp1252"), "UTF-8"),
    ],
)
def test_what_a_spreadsheet_saved_instead_is_named_and_how_to_export_it_again(content, words, tmp_path):
    _, problems = read(tmp_path, trials=content)
    (problem,) = problems
    assert words in problem.seen
    assert "0x" not in problem.seen
    assert "CSV UTF-8 (comma delimited)" in problem.expected


def test_a_first_line_that_says_comma_is_passed_over_with_a_note(tmp_path):
    """A spreadsheet program is told so how to part the columns, and they are parted so."""
    tables, problems = read(tmp_path, trials=PAYLOAD["trials.csv"].encode())
    marked, told = read(tmp_path / "marked", trials=b"sep=,\r\n" + PAYLOAD["trials.csv"].encode())
    assert [problem.kind for problem in told] == ["blank", *(problem.kind for problem in problems)]
    parted, plainly = (frames["sent_trials"].reset_index(drop=True) for frames in (marked, tables))
    pd.testing.assert_frame_equal(parted, plainly)
