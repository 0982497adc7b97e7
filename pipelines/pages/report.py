"""The report of the planned answers: one page that needs nothing else, bound to the warehouse it was read from.

Everything on it is in the warehouse: the plan, its answers, what they are made of, who is counted. Only what sites say
each by themselves is computed here, as the mean of their runners' differences, so that it can be drawn beside.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from markupsafe import Markup

from pipelines.depot.store import Store
from pipelines.errors import Unusable
from pipelines.pages.charts.forest import ForestRow, forest_chart
from pipelines.pages.charts.funnel import funnel_chart
from pipelines.pages.charts.paired import paired_chart
from pipelines.pages.charts.participants import participants_chart
from pipelines.pages.compared import bands
from pipelines.pages.planned import Planned, read_planned, rows_of
from pipelines.pages.planned_words import Answer, not_in_it
from pipelines.pages.refits import Row
from pipelines.pages.templating import page_style, templates
from pipelines.pages.words import counted
from pipelines.pool.query import open_read_only
from pipelines.science.statistics.pooling import Effect, mean_effect
from schemas.model import Table
from schemas.outcomes_planned import ANALYSIS_PLANS, PLANNED_CONTRASTS, PLANNED_DIFFERENCES, PLANNED_PARTICIPANTS
from schemas.outcomes_planned_curves import PLANNED_CURVE_POINTS, PLANNED_CURVES
from schemas.outcomes_planned_doses import PLANNED_DOSE_RESPONSES

if TYPE_CHECKING:
    import duckdb

#: Fewer runners at a site give no interval worth drawing; the study file's own number is not in the warehouse.
FEWEST = 3
#: Tables that a warehouse must have to be reported on.
NEEDED = (
    PLANNED_CONTRASTS,
    PLANNED_DIFFERENCES,
    PLANNED_PARTICIPANTS,
    PLANNED_CURVES,
    PLANNED_CURVE_POINTS,
    PLANNED_DOSE_RESPONSES,
    ANALYSIS_PLANS,
)
_ASKED = ("outcome", "contrast", "visit", "condition", "reference_condition", "at_speed")


@dataclass(frozen=True)
class Drawn:
    """One planned answer with its figures; None for one that cannot be drawn."""

    answer: Answer
    forest: Markup | None
    paired: Markup | None
    funnel: Markup | None


@dataclass(frozen=True)
class About:
    """Which warehouse the report is bound to."""

    title: str
    invented: bool
    study_version: str
    code_version: str
    built_utc: str
    sha256: str
    name: str
    citation: str = ""


@dataclass(frozen=True)
class _Site:
    """One site's part of an answer. pairs: reference and condition of each runner."""

    site: str
    pairs: Sequence[tuple[float, float]]
    differences: Sequence[float]


def write_report(warehouse: Path, to: Path) -> Path:
    """Write the page as the new file ``to``, whole or not at all.

    Raises Unusable if there is no warehouse or none with a plan, if a run swapped it meanwhile, or if ``to`` exists.
    """
    from pipelines.depot.disk import write_bytes
    from pipelines.pages.lab_report import refuse_existing

    if to.suffix != ".html":
        raise Unusable("The name does not end in .html.", "a page.", "Name it, for example, report.html.", file=to)
    refuse_existing(to)
    write_bytes(to, report(warehouse).encode("utf-8", "replace"), owner_only=True)
    return to


def always_there(table: Table) -> tuple[str, ...]:
    """Columns that a release holds as well as a warehouse."""
    return table.leaves.names if table.leaves else ()


def report(warehouse: Path) -> str:
    """The page. Raises Unusable."""
    import duckdb

    with open_read_only(warehouse) as connection:
        file = Store.on_disk(warehouse.parent)
        before = file.sha256(warehouse.name)
        try:
            for table in NEEDED:  # of another version may lack columns, or have them by another name
                connection.execute(f"SELECT {', '.join(always_there(table))} FROM {table.name} LIMIT 0")
            about = _about(connection, before, warehouse.name)
            plan = read_planned(connection)
            pairs = rows_of(connection, "SELECT * FROM planned_differences ORDER BY ALL")
        except (duckdb.CatalogException, duckdb.BinderException):
            seen, expected = "It has no planned answers, or another version made it.", "one that this version made."
            hint = "Run `manystrides run` first; a release that is shared openly holds no answers."
            raise Unusable(seen, expected, hint, file=warehouse) from None
    if file.sha256(warehouse.name) != before:
        seen, expected = "A run made a new warehouse meanwhile.", "one that stays."
        raise Unusable(seen, expected, "Ask again.", file=warehouse)
    if plan.state is None:
        seen, expected = "There is no analysis plan.", "plan.yaml beside the study file, and a run since."
        raise Unusable(seen, expected, "Make one: docs/how_to/plan_the_analysis.md.", file=warehouse)
    return _page(about, plan, pairs)


def _page(about: About, plan: Planned, pairs: Sequence[Row]) -> str:
    drawn = [
        (family, [_drawn(answer, pairs, f"{family}-{n}") for n, answer in enumerate(answers)])
        for family, _, answers in plan.families
    ]
    return (
        templates()
        .get_template("report.html.j2")
        .render(
            **page_style(),
            study=about,
            study_version=about.study_version,
            judged_by=(about.code_version, about.study_version),
            at_lab=False,
            alone=True,
            root="",
            about=about,
            plan=plan,
            drawn=drawn,
            bands=bands(plan),
            participants=_participants(plan),
        )
    )


def _drawn(answer: Answer, pairs: Sequence[Row], key: str) -> Drawn:
    row, unit, title = answer.row, answer.unit, answer.title
    sites = list(_sites([pair for pair in pairs if all(pair[name] == row[name] for name in _ASKED)]))
    if not sites:
        return Drawn(answer, None, None, None)
    rows = [(_compared(row), list(_forest(answer, sites)))]
    forest = forest_chart(title, unit, rows, f"{key}-forest", digits=answer.digits)
    sides = [(site.site, site.pairs) for site in sites]
    paired = paired_chart(title, unit, _sides(row), sides, f"{key}-paired", digits=answer.digits)
    places = [(s.site, e.estimate, e.standard_error) for s in sites if (e := _effect(s)) and e.standard_error > 0]
    if row["estimate_value"] is None or len(places) < 2:
        return Drawn(answer, forest, paired, None)
    middle = row["estimate_value"]
    return Drawn(
        answer, forest, paired, funnel_chart(title, unit, places, middle, f"{key}-funnel", digits=answer.digits)
    )


def _sites(pairs: Sequence[Row]) -> Iterator[_Site]:
    for site in sorted({row["site"] for row in pairs}):
        own = [row for row in pairs if row["site"] == site]
        sides = [(row["reference_mean_value"], row["condition_mean_value"]) for row in own]
        yield _Site(site, sides, [row["difference_value"] for row in own])


def _effect(site: _Site) -> Effect | None:
    return mean_effect(site.differences) if len(site.differences) >= FEWEST else None


def _forest(answer: Answer, sites: Sequence[_Site]) -> Iterator[ForestRow]:
    """Sites each by themselves, then the answer as planned, then every way of doubting it."""
    for site in sites:
        effect = _effect(site)
        mean = sum(site.differences) / len(site.differences)
        lower, upper = (effect.lower, effect.upper) if effect else (None, None)
        reason = None if effect else f"{len(site.differences)} of at least {FEWEST} runners"
        yield ForestRow(site.site, mean, lower, upper, len(site.differences), reason=reason)
    for words, row in answer.each:
        low, high = row["prediction_lower_value"], row["prediction_upper_value"]
        yield ForestRow(
            words[:1].upper() + words[1:],
            row["estimate_value"],
            row["lower_limit_value"],
            row["upper_limit_value"],
            row["runner_count"],
            pooled=True,
            prediction=(low, high) if row is answer.row and None not in (low, high) else None,
            reason=row["reason_null"],
        )


def _compared(row: Row) -> tuple[str, str]:
    """Words around "less" in the heading of a forest plot."""
    if row["contrast"] == "condition":
        return row["condition"], row["reference_condition"]
    what = row["condition"] if row["contrast"] == "visit" else f"{row['condition']} less {row['reference_condition']}"
    return f"{what} at {row['visit']}", f"at {row['reference_visit']}"


def _sides(row: Row) -> tuple[str, str]:
    """What stands left and right in a paired drawing: reference, then condition."""
    if row["contrast"] == "condition":
        words = row["reference_condition"], row["condition"]
    elif row["contrast"] == "visit":
        words = row["reference_visit"], row["visit"]
    else:
        words = f"difference at {row['reference_visit']}", f"difference at {row['visit']}"
    left, right = (str(word).replace("_", " ") for word in words)
    return left, right


def _participants(plan: Planned) -> Markup | None:
    if not plan.flow:
        return None
    counts = plan.flow[-1][1]  # of all sites
    analyses = []
    for _, _, answers in plan.families:
        for answer in answers:
            row, lines = answer.row, [answer.words]
            lines += not_in_it(answer.participation)
            if row["excluded_trial_count"]:
                lines.append(f"{counted(row['excluded_trial_count'], 'trial')} left out by the plan")
            analyses.append((answer.title, row["runner_count"], lines))
    return participants_chart(counts, analyses, "participants")


def _about(connection: duckdb.DuckDBPyConnection, sha256: str, name: str) -> About:
    (row,) = rows_of(connection, "SELECT * FROM about_this_warehouse")
    return About(
        row["study_title"], row["invented"], row["study_version"], row["code_version"], row["built_utc"], sha256, name
    )
