"""What a warehouse was made from, kept in the warehouse itself: what is made from the same is not made again.

In a schema of its own, ``made_from``: the result of each delivery that is in, the inputs of each part that needs the
whole pool, each trial's means, and which deliveries may hold rows of a runner or session. Nothing is decided here.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import duckdb

_TABLES = (
    (
        "results",
        "delivery_id VARCHAR, result VARCHAR",
        "one delivery that is in, with the word of the result that was read",
    ),
    ("parts", "part VARCHAR, inputs VARCHAR", "one part that needs the whole pool, with a hash of its inputs"),
    (
        "trial_values",
        "trial_id VARCHAR, outcome VARCHAR, value DOUBLE",
        "the mean of one outcome over the footfalls of one accepted trial",
    ),
    (
        "named",
        "delivery_id VARCHAR, name USMALLINT",
        "one delivery and 16 bits of a hash of a runner or session that it has rows of",
    ),
)
# Of the names only 16 bits are kept: a hundred times more than are needed to leave most deliveries unread, and far too
# few to know by them whether somebody, whose rows perhaps may not be told, is in a delivery.
NAME_SQL = "(hash({id}) % 65536)::USMALLINT"
FORM = "form"


def begin(connection: duckdb.DuckDBPyConnection) -> None:
    """Make the schema in a new warehouse."""
    connection.execute("CREATE SCHEMA made_from")
    for name, columns, row in _TABLES:
        connection.execute(f"CREATE TABLE made_from.{name} ({columns})")
        connection.execute(f"COMMENT ON TABLE made_from.{name} IS 'One row is {row}.'")


def results(connection: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """Delivery -> result that is in."""
    return dict(connection.execute("SELECT delivery_id, result FROM made_from.results").fetchall())


def note_results(connection: duckdb.DuckDBPyConnection, now: Mapping[str, str], which: Iterable[str]) -> None:
    """Note that these deliveries are in with their results of now."""
    listed = list(which)
    connection.execute("DELETE FROM made_from.results WHERE list_contains(?, delivery_id)", [listed])
    connection.execute(
        "INSERT INTO made_from.results SELECT unnest(?::VARCHAR[]), unnest(?::VARCHAR[])",
        [listed, [now[delivery] for delivery in listed]],
    )


def inputs_of(connection: duckdb.DuckDBPyConnection, part: str) -> str | None:
    """The hash of what a part was made from; None if it was not made."""
    rows = connection.execute("SELECT inputs FROM made_from.parts WHERE part = ?", [part]).fetchall()
    return str(rows[0][0]) if rows else None


def note_inputs(connection: duckdb.DuckDBPyConnection, part: str, inputs: str) -> None:
    """Note what a part was made from."""
    connection.execute("DELETE FROM made_from.parts WHERE part = ?", [part])
    connection.execute("INSERT INTO made_from.parts VALUES (?, ?)", [part, inputs])


def hashed(*words: object) -> str:
    """One hash of several words."""
    return hashlib.sha256("\n".join(map(str, words)).encode("utf-8", "surrogatepass")).hexdigest()


def content_of(connection: duckdb.DuckDBPyConnection, sources: Iterable[str]) -> str:
    """One hash of the rows of tables, views or queries, whatever their order. sources: as they stand after FROM."""
    found = []
    for source in sources:
        found.append(connection.execute(f"SELECT count(*), sum(hash(t)::HUGEINT) FROM {source} t").fetchall())
    return hashed(*found)
