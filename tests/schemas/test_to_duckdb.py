import duckdb
import pytest

from schemas.catalogue import TABLES
from schemas.convert.to_arrow import to_arrow_table
from schemas.convert.to_duckdb import comment_sql, create_table_sql, quote_name, quote_text, view_comment_sql
from tests.schemas.test_to_arrow import A_SHOE, SHOES


@pytest.fixture(scope="module")
def warehouse(tmp_path_factory):
    path = tmp_path_factory.mktemp("warehouse") / "w.duckdb"
    with duckdb.connect(str(path)) as connection:
        for table in TABLES.values():
            connection.execute(create_table_sql(table))
            connection.execute(comment_sql(table))
    with duckdb.connect(str(path), read_only=True) as reopened:
        yield reopened


def test_the_comments_in_the_database_are_the_words_of_the_dictionary(warehouse, subtests):
    for name in TABLES:
        with subtests.test(name=name):
            table = TABLES[name]
            (about,) = warehouse.execute("SELECT comment FROM duckdb_tables() WHERE table_name = ?", [name]).fetchone()
            assert about.startswith(f"One row is {table.one_row_is}.")
            rows = warehouse.execute(
                "SELECT column_name, comment, is_nullable FROM duckdb_columns() WHERE table_name = ? ORDER BY column_index",
                [name],
            ).fetchall()
            assert [row[0] for row in rows] == list(table.column_names)
            for field, (_, comment, nullable) in zip(table.fields, rows, strict=True):
                assert comment.startswith(field.description)
                assert nullable == field.nullable
                if field.unit and field.unit != "{unit_of_row}":
                    assert f" Unit: {field.unit}." in comment
                assert all(code.value in comment for code in field.codes)


def test_a_comment_reads_as_sentences(warehouse):
    words = "Contact to toe-off of the same foot. Unit: s. Privacy: sensitive."
    query = "SELECT comment FROM duckdb_columns() WHERE table_name = 'footfalls' AND column_name = 'contact_time_s'"
    assert warehouse.execute(query).fetchone() == (words,)


def test_the_key_is_told(warehouse):
    (about,) = warehouse.execute("SELECT comment FROM duckdb_tables() WHERE table_name = 'footfalls'").fetchone()
    assert about.endswith(" Key: trial_id, footfall_number.")


def test_rows_go_in_from_arrow():
    with duckdb.connect() as connection:
        connection.execute(create_table_sql(SHOES))
        rows = to_arrow_table(SHOES, [A_SHOE])
        connection.register("rows", rows)
        connection.execute("INSERT INTO shoes SELECT * FROM rows")
        assert connection.sql("SELECT * FROM shoes").to_arrow_table().to_pylist() == [A_SHOE]


@pytest.mark.parametrize("text", ["it's", "'; DROP TABLE x; --", '"', "''", "a\nb", "§ µ ü"])
def test_any_text_can_be_a_comment_and_any_word_a_name(text):
    with duckdb.connect() as connection:
        connection.execute(f"CREATE TABLE {quote_name(text)} ({quote_name(text)} INTEGER)")
        connection.execute(f"COMMENT ON TABLE {quote_name(text)} IS {quote_text(text)}")
        assert connection.execute("SELECT table_name, comment FROM duckdb_tables()").fetchall() == [(text, text)]


def test_a_view_and_its_columns_carry_comments():
    with duckdb.connect() as connection:
        connection.execute("CREATE VIEW v AS SELECT 1 AS a, 2 AS b")
        connection.execute(view_comment_sql("v", "The lab's view.", {"b": "Two; 'b'."}))
        assert connection.execute("SELECT comment FROM duckdb_views() WHERE view_name = 'v'").fetchone() == (
            "The lab's view.",
        )
        query = "SELECT column_name, comment FROM duckdb_columns() WHERE table_name = 'v'"
        assert connection.execute(query).fetchall() == [("a", None), ("b", "Two; 'b'.")]
