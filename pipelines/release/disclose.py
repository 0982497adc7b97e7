"""How exactly one release tells who its runners are: which columns, in which bands, and what that cost.

The method is in ``generalise``; which columns these are follows from their privacy class. The laboratories of a runner
stand in many tables and cannot be left out, so they are counted with the others as they are.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Hashable, Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from pipelines.errors import Unusable
from pipelines.release.generalise import Attribute, Told, generalised
from schemas.convert.to_duckdb import COLUMN_TYPES, quote_name
from schemas.core import RUNNERS
from schemas.fields import DELIVERY_ID, SITE
from schemas.model import Field, Table
from schemas.privacy import RUNNER

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from schemas.study import Study

_UNITS = {"a": "years"}
#: The name under which what is told is known to the database while the release is filled.
TOLD = "told_of_runners"


#: Runner -> what one release told of it; nobody who was not in it.
Earlier = Mapping[str, tuple[Hashable, ...]]


def told_in(runners: pd.DataFrame) -> Earlier:
    """What a release told, from its table of runners."""
    names = [field.name for field in quasi_columns() if field.name in runners]
    told = runners[names].astype(object).where(runners[names].notna(), None)
    return dict(zip(runners[RUNNER], told.itertuples(index=False, name=None), strict=True))


def quasi_columns() -> tuple[Field, ...]:
    """Columns of runners by which they could be known together, and which a release tells."""
    return tuple(field for field in RUNNERS.fields if field.told is not None)


def tell(
    connection: duckdb.DuckDBPyConnection,
    study: Study,
    runners: Collection[str],
    tables: Iterable[Table],
    earlier: Sequence[Earlier] = (),
) -> Told:
    """Work out what is told of ``runners``, whose data are in the database ``pooled``, and put it there as ``TOLD``.

    tables: those of the release, each of which may tell where a runner ran. earlier: what releases before told, which
    whoever has both puts beside it by the runners' codes, so that it counts with it. Raises Unusable if the study file
    gives bands to a column that is none of these.
    """
    columns = quasi_columns()
    if unknown := set(study.disclosure.bands) - {c.name for c in columns if c.told and c.told.bands}:
        raise Unusable(
            f"disclosure.bands of the study file names {', '.join(sorted(unknown))}.",
            "columns of numbers that a release tells in bands: "
            + ", ".join(c.name for c in columns if c.told and c.told.bands)
            + ".",
            "Correct the study file.",
        )
    names = ", ".join(quote_name(c.name) for c in columns)
    rows = connection.execute(f"SELECT participant_id, {names} FROM pooled.runners ORDER BY participant_id").fetchall()
    rows = [row for row in rows if row[0] in runners]
    attributes = [
        Attribute(c.name, study.disclosure.bands.get(c.name, c.told.bands if c.told else ()), tuple(r[i] for r in rows))
        for i, c in enumerate(columns, start=1)
    ]
    sites = sites_told(connection, tables)
    fixed = [(*sorted(sites[row[0]]), *(one.get(row[0]) for one in earlier)) for row in rows]
    told = generalised(attributes, fixed, study.smallest_cell, study.disclosure.most_suppressed)
    types = ", ".join(f"{quote_name(c.name)} {COLUMN_TYPES[c.kind]}" for c in columns)
    connection.execute(f"CREATE TEMP TABLE {TOLD} (participant_id VARCHAR, {types})")
    marks = ", ".join("?" for _ in range(len(columns) + 1))
    for i, row in enumerate(rows):
        connection.execute(f"INSERT INTO {TOLD} VALUES ({marks})", [row[0], *(told.values[c.name][i] for c in columns)])
    return told


def sites_told(connection: duckdb.DuckDBPyConnection, tables: Iterable[Table]) -> dict[str, set[str]]:
    """The laboratories that any table of the release tells of a runner, by its name or by a delivery of it."""
    found: dict[str, set[str]] = defaultdict(set)
    for table in (t for t in tables if RUNNER in t.column_names):
        rows, told = f"pooled.{quote_name(table.name)}", []
        if SITE.name in table.column_names:
            told.append(f"SELECT DISTINCT {RUNNER}, site FROM {rows} WHERE site IS NOT NULL")
        if DELIVERY_ID.name in table.column_names:
            told.append(f"SELECT DISTINCT {RUNNER}, d.site FROM {rows} JOIN pooled.deliveries d USING (delivery_id)")
        for runner, site in (row for query in told for row in connection.execute(query).fetchall()):
            found[runner].add(site)  # of withheld trials nobody's: None
    return found


def report(told: Told) -> dict[str, Any]:
    """What it cost, for programs."""
    return {
        "method": "full-domain generalisation with suppression of records (Samarati 2001; LeFevre et al. 2005)",
        "k": told.k,
        "smallest_group_before": told.before,
        "runners_alone_before": told.alone_before,
        "smallest_group_after": told.after,
        "smallest_group_of_whom_something_is_told": told.after_told,
        "runners_not_told": told.untold,
        "runners_in_smaller_groups": told.small,
        "told_of_smaller_groups": "the sites they ran at, and what earlier releases gave" if told.small else "nothing",
        "columns": {
            name: {
                "band": level,
                "cells_generalised": told.generalised[name],
                "cells_suppressed": told.suppressed[name],
            }
            for name, level in told.levels.items()
        },
    }


def lines(told: Told) -> Iterator[str]:
    """What it cost, for people, as Markdown."""
    yield (
        f"- What describes a runner is given so that at least {told.k} runners share all of it, sites included"
        + (f", but for {told.small} runners of whom the sites alone are given. " if told.small else ". ")
        + f"Before, the smallest group was of {told.before}, and {told.alone_before} runners were alone in theirs; now "
        + (
            "nothing of it is given of anybody."
            if told.untold == len(next(iter(told.values.values()), ()))
            else f"it is of {told.after}, the {told.untold} counted of whom nothing is given."
        )
    )
    yield (
        "- Not in it: what grows with body mass, such as stiffness in kN/m, in estimates over several runners, too, "
        "since masses could be solved from them; and minutes of running, shares of them, too. All stand in the "
        "warehouse of the depot."
    )
    if told.after < told.k:
        yield f"- A site where fewer than {told.k} runners ran is named all the same, and nothing else of them."
    for field in quasi_columns():
        level = told.levels[field.name]
        banded = f"given in bands of {level or 0:g} {_UNITS.get(field.unit or '', field.unit)}, by the lower end"
        how = "not given" if level is None else banded if level else "given as it is"
        cells = f"{told.generalised[field.name]} cells in bands, {told.suppressed[field.name]} not given"
        yield f"- `{field.name}`: {how} ({cells})."
