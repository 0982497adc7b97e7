"""What the overview says about differences between conditions: read from the contrast tables, arranged by outcome.

Nothing is computed here: the methods are in ``pipelines.science.statistics``, the drawing is in ``forest``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipelines.pages.charts.forest import POOLED_WORDS, ForestRow, forest_rows
from pipelines.pages.outcomes_shown import Outcome
from pipelines.pages.words import joined, signed

if TYPE_CHECKING:
    import duckdb

#: Shown before the next: rows over several methods, then those of the method that is believed most.
_METHODS = ("several", "none", "force", "sensor", "markers")
_METHOD_WORDS = {"force": "force", "sensor": "foot sensors", "markers": "foot markers"}
_SHOWN = "list_contains(?, outcome) AND contrast = 'condition'"
Row = dict[str, Any]
Compared = tuple[str, str]  # condition, reference

#: More comparisons than these are not drawn for one outcome.
MOST_COMPARED = 4
#: The two random-effects methods differ little; both are in the numbers, one is drawn.
_MIXED = "one_stage_mixed_model"
_DRAWN = (_MIXED, "random_effects_restricted_likelihood")
_REML = "random_effects_restricted_likelihood"


@dataclass(frozen=True)
class Comparison:
    """One outcome in one condition against another at one visit; rows of the contrast tables, none where nothing is."""

    compared: Compared
    sites: tuple[Row, ...]
    pooled: tuple[Row, ...]
    changes: tuple[Row, ...] = ()  # pooled interactions with later visits, by the mixed model

    @property
    def words(self) -> str:
        """ "thin soled less cushioned"."""
        return " less ".join(word.replace("_", " ") for word in self.compared)

    @property
    def drawn(self) -> list[ForestRow]:
        """Rows of the forest plot."""
        return forest_rows(self.sites, [row for row in self.pooled if row["pooling_method"] in _DRAWN])

    @property
    def numbers(self) -> list[tuple[str, Row]]:
        """Every estimate with its name, for the table."""
        sites = [(str(row["site"]), row) for row in self.sites]
        methods = [str(row["pooling_method"]) for row in self.pooled]
        return sites + [(POOLED_WORDS.get(m, m), row) for m, row in zip(methods, self.pooled, strict=True)]


@dataclass(frozen=True)
class Compare:
    """One outcome with all its comparisons."""

    outcome: Outcome
    comparisons: tuple[Comparison, ...]

    @property
    def drawn(self) -> list[tuple[Compared, list[ForestRow]]]:
        """What the forest plot takes; comparisons without a row are left out."""
        return [(c.compared, c.drawn) for c in self.comparisons if c.sites]

    def notes(self, sites: Sequence[str]) -> Iterator[str]:
        """Heterogeneity, and why something is missing, a sentence each. sites: all of the study."""
        for comparison in self.comparisons:
            if comparison.sites:
                yield f"{_first_upper(comparison.words)}: {'; '.join(_notes(comparison, self.outcome, sites))}."
            else:
                yield f"{_first_upper(comparison.words)}: no runner has this outcome in both conditions."


@dataclass(frozen=True)
class Contrasts:
    """The differences that are shown. visit: the one they are of; None as long as there are none.

    at_speed: as in the tables, the one with most differences. other_speeds: how many there are beside it at the visit.
    Where sites found events by different methods, each is shown by the one it is believed most by, and it is said.
    """

    visit: str | None
    outcomes: tuple[Compare, ...]
    runners: int
    sites: int
    left_out: int  # comparisons not shown
    at_speed: str = ""
    other_speeds: int = 0


def read_contrasts(
    connection: duckdb.DuckDBPyConnection, outcomes: Sequence[Outcome], conditions: Sequence[str], visits: Sequence[str]
) -> Contrasts:
    """Differences of these outcomes at the first visit that has a pooled one, or else any."""
    keys = [o.key for o in outcomes]
    sites = _rows(connection, f"SELECT * FROM site_contrasts WHERE runner_count > 0 AND {_SHOWN} ORDER BY site", keys)
    pooled = _rows(
        connection, f"SELECT * FROM pooled_contrasts WHERE runner_count > 0 AND {_SHOWN} ORDER BY pooling_method", keys
    )
    visit = _first_visit(pooled, sites, visits)
    if visit is None:
        return Contrasts(None, (), 0, 0, 0)
    differences = Counter[str]()
    for row in (row for row in sites if row["visit"] == visit):
        differences[row["at_speed"]] += row["runner_count"]
    at_speed = min(differences, key=lambda speed: (-differences[speed], speed))
    sites, pooled = ([r for r in rows if (r["visit"], r["at_speed"]) == (visit, at_speed)] for rows in (sites, pooled))
    sites, pooled = _of_one_method(sites), _of_one_method(pooled)
    own = list(sites)
    changes = _rows(
        connection,
        "SELECT * FROM pooled_contrasts WHERE list_contains(?, outcome) AND contrast = 'interaction' "
        f"AND pooling_method = '{_MIXED}' AND estimate_value IS NOT NULL",
        keys,
    )
    changes = _of_one_method(row for row in changes if row["at_speed"] == at_speed and row["visit"] in visits)
    changes.sort(key=lambda row: visits.index(row["visit"]))
    pairs = sorted({(r["condition"], r["reference_condition"]) for r in own}, key=_order(conditions))
    return Contrasts(
        visit,
        tuple(_compare(o, pairs[:MOST_COMPARED], own, pooled, changes) for o in outcomes),
        _runners(connection, keys, visit, at_speed),
        len({row["site"] for row in own}),
        len(pairs[MOST_COMPARED:]),
        at_speed,
        len(differences) - 1,
    )


def _of_one_method(rows: Iterable[Row]) -> list[Row]:
    """Of each comparison, and of each site in it, the rows that go over several methods, or else of the best."""
    rows = list(rows)

    def compared(row: Row) -> tuple[Any, ...]:
        return tuple(row.get(name) for name in ("outcome", "visit", "condition", "reference_condition", "site"))

    best: dict[tuple[Any, ...], int] = {}
    for row in rows:
        rank = _METHODS.index(row["event_method"])
        best[compared(row)] = min(rank, best.get(compared(row), rank))
    return [row for row in rows if _METHODS.index(row["event_method"]) == best[compared(row)]]


def _rows(connection: duckdb.DuckDBPyConnection, sql: str, keys: list[str]) -> list[Row]:
    answer = connection.execute(sql, [keys])
    names = [column[0] for column in answer.description or ()]
    return [dict(zip(names, row, strict=True)) for row in answer.fetchall()]


def _runners(connection: duckdb.DuckDBPyConnection, keys: list[str], visit: str, at_speed: str) -> int:
    row = connection.execute(
        f"SELECT count(DISTINCT participant_id) FROM runner_contrasts WHERE {_SHOWN} AND visit = ? "
        "AND difference_value IS NOT NULL "
        "AND (format('{:.1f} m/s', set_speed_m_per_s) = ? OR NOT ends_with(?, ' m/s'))",
        [keys, visit, at_speed, at_speed],
    ).fetchone()
    return int(row[0]) if row else 0


def _first_visit(pooled: Iterable[Row], sites: Iterable[Row], visits: Sequence[str]) -> str | None:
    with_pool = {row["visit"] for row in pooled if row["estimate_value"] is not None}
    with_any = {row["visit"] for row in sites}
    return next((v for v in visits if v in with_pool), next((v for v in visits if v in with_any), None))


def _order(conditions: Sequence[str]) -> Any:
    places = {word: place for place, word in enumerate(conditions)}
    return lambda pair: (places.get(pair[1], len(places)), places.get(pair[0], len(places)), pair)


def _compare(
    outcome: Outcome, pairs: Sequence[Compared], sites: Iterable[Row], pooled: Iterable[Row], changes: Iterable[Row]
) -> Compare:
    def of(rows: Iterable[Row], pair: Compared) -> tuple[Row, ...]:
        return tuple(
            r for r in rows if r["outcome"] == outcome.key and (r["condition"], r["reference_condition"]) == pair
        )

    return Compare(
        outcome, tuple(Comparison(pair, *(of(rows, pair) for rows in (sites, pooled, changes))) for pair in pairs)
    )


def _notes(comparison: Comparison, outcome: Outcome, sites: Sequence[str]) -> Iterator[str]:
    unit = "" if outcome.unit == "°" else " "
    for row in comparison.pooled:
        method, reason = row["pooling_method"], row["reason_null"]
        if reason and method == _MIXED:
            yield f"no mixed model estimate, {reason}"
        elif method == _MIXED and row["degrees_of_freedom"] is not None:
            yield f"mixed model on {row['degrees_of_freedom']:.1f} degrees of freedom" + (
                ", with no sign of differences between sites" if row["between_site_sd_value"] == 0 else ""
            )
        elif method == _REML and row["between_site_sd_value"] is not None:
            sd = f"{row['between_site_sd_value']:.{outcome.digits + 1}f}{unit if outcome.unit else ''}{outcome.unit}"
            text = f"sites differ by SD {sd}, I² {row['heterogeneity_percent']:.0f} % from {row['site_count']} sites"
            if row["prediction_lower_value"] is not None:
                ends = [signed(row[f"prediction_{end}_value"], outcome.digits) for end in ("lower", "upper")]
                text += f", a further site expected from {ends[0]} to {ends[1]}"
            yield text
    if _REML not in {row["pooling_method"] for row in comparison.pooled}:
        with_interval = sum(row["reason_null"] is None for row in comparison.sites)
        yield f"no random effects, {with_interval} of at least 2 sites have an interval"
    for row in comparison.changes:
        ends = [signed(row[name], outcome.digits) for name in ("lower_limit_value", "upper_limit_value")]
        change = f"{signed(row['estimate_value'], outcome.digits)}{unit if outcome.unit else ''}{outcome.unit}"
        visit, first = (str(row[name]).replace("_", " ") for name in ("visit", "reference_visit"))
        yield f"from {first} to {visit} the difference changes by {change} ({ends[0]} to {ends[1]})"
    yield from _lost(comparison.sites)
    for row in comparison.sites:
        if row["reason_null"]:
            yield f"{row['site']} has no interval and is not in the random effects, {row['reason_null']}"
    if len({row["event_method"] for row in comparison.sites}) > 1:
        told = [f"{_METHOD_WORDS.get(r['event_method'], r['event_method'])} at {r['site']}" for r in comparison.sites]
        yield f"contacts were found by {joined(told)}, and methods differ (method_offsets): pooled here all the same"
    missing = [site for site in sites if site not in {row["site"] for row in comparison.sites}]
    if missing:
        yield f"no runner with both at {joined(missing)}"


def _lost(sites: Iterable[Row]) -> Iterator[str]:
    """How many who were measured have no value, where it is on one side more than on the other."""
    rows = list(sites)
    measured, without, reference = (
        sum(row.get(name) or 0 for row in rows)
        for name in ("measured_count", "lacking_value_count", "lacking_reference_count")
    )
    if without != reference:
        yield (
            f"of {measured} measured in both, {without} have no value in the condition alone and {reference} in the "
            "reference alone: what is lost may go with the difference, which no interval covers"
        )


def _first_upper(words: str) -> str:
    return words[:1].upper() + words[1:]
