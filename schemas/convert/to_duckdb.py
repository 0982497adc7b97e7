"""Table definition to DuckDB: CREATE TABLE, and the dictionary's words as comments.

DuckDB does not take Parquet metadata as comments, and COMMENT ON takes no ``?`` parameters, so the words are quoted
here, in one place. Nothing here opens a database.
"""

from __future__ import annotations

from schemas.convert.words import column_comment, key_sentence, table_comment
from schemas.model import Kind, Table

#: DuckDB type of each kind.
COLUMN_TYPES = {
    Kind.IDENTIFIER: "VARCHAR",
    Kind.CODE: "VARCHAR",
    Kind.TEXT: "VARCHAR",
    Kind.INTEGER: "BIGINT",
    Kind.REAL: "DOUBLE",
    Kind.BOOLEAN: "BOOLEAN",
}


def quote_name(name: str) -> str:
    """``name`` as an SQL identifier."""
    return '"' + name.replace('"', '""') + '"'


def quote_text(text: str) -> str:
    """``text`` as an SQL string."""
    return "'" + text.replace("'", "''") + "'"


def create_table_sql(table: Table) -> str:
    """The CREATE TABLE statement, with NOT NULL.

    The key stands in the table's comment and not as a constraint: its index made a warehouse seven times as large and
    slow to fill. That it is kept is looked at where rows are written.
    """
    lines = [f"  {quote_name(f.name)} {COLUMN_TYPES[f.kind]}{'' if f.nullable else ' NOT NULL'}" for f in table.fields]
    return f"CREATE TABLE {quote_name(table.name)} (\n" + ",\n".join(lines) + "\n);"


def comment_sql(table: Table) -> str:
    """COMMENT ON statements for the table and each column; one ``execute`` runs them all."""
    name = quote_name(table.name)
    statements = [
        f"COMMENT ON TABLE {name} IS {quote_text(f'{table_comment(table)} {key_sentence(table)}')};",
        *(f"COMMENT ON COLUMN {name}.{quote_name(f.name)} IS {quote_text(column_comment(f))};" for f in table.fields),
    ]
    return "\n".join(statements)


def view_comment_sql(view: str, comment: str, columns: dict[str, str]) -> str:
    """COMMENT ON statements for a view and those of its columns that ``columns`` (name to words) names."""
    name = quote_name(view)
    return "\n".join(
        [
            f"COMMENT ON VIEW {name} IS {quote_text(comment)};",
            *(
                f"COMMENT ON COLUMN {name}.{quote_name(column)} IS {quote_text(words)};"
                for column, words in columns.items()
            ),
        ]
    )
