"""What checks of whole sites saw, for the site pages and the page of expectations, read from the warehouse."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, TypeVar

from checks.site.pool import words_of
from schemas.quality import SITE_CONTROL_POINTS

if TYPE_CHECKING:
    import duckdb

    from pipelines.pages.facts import Finding

Row = TypeVar("Row")

#: Quantity of the equipment -> title, what a reader could mistake, title of its axis.
QUANTITY_WORDS = {
    "force_scale_ratio": (
        "Force as a part of body weight",
        "Mean vertical force over whole steps; 1 is body weight.",
        "Body weights",
    ),
    "marker_scale_ratio": (
        "Marked leg as a part of leg length",
        "Trochanter to malleolus marker, standing.",
        "Part of leg length",
    ),
    "second_clock_drift_ppm": (
        "Drift of the second clock",
        "How much longer a second of the second recorder is.",
        "Drift (ppm)",
    ),
}
#: Great Expectations' name of an expectation -> what was compared, in words.
KIND_WORDS = {
    "expect_column_median_to_be_between": "median",
    "expect_column_stdev_to_be_between": "standard deviation",
    "expect_column_values_to_not_be_null": "missing values",
    "expect_column_values_to_not_be_in_set": "values that may not be frequent",
    "expect_column_kl_divergence_to_be_less_than": "unevenness of last digits",
    "expect_column_values_to_be_between": "sessions beyond the limits",
}


def quantity_words(quantity: str) -> tuple[str, str, str]:
    """Title, note and axis title of a quantity."""
    return QUANTITY_WORDS.get(quantity, (words_of(quantity), "", "Value"))


@dataclass(frozen=True)
class Expectation:
    """One expectation on one site's pooled values, with what was seen."""

    site: str
    check_name: str
    expectation_number: int
    expectation_kind: str
    measured: str
    visit: str | None
    condition: str | None
    at_speed: str | None
    lower_value: float | None
    upper_value: float | None
    observed_value: float | None
    unit_code: str
    is_met: bool
    engine_version: str

    @property
    def what(self) -> str:
        """What was looked at, without its unit."""
        return words_of(self.measured)

    @property
    def kind_words(self) -> str:
        """What was compared."""
        return KIND_WORDS.get(self.expectation_kind, self.expectation_kind.replace("_", " "))

    @property
    def counts(self) -> bool:
        """Whether what was seen is a number of values that do not fit, not a value itself."""
        return self.expectation_kind.startswith("expect_column_values")


@dataclass(frozen=True)
class Ended:
    """How one check of whole sites ended on one site."""

    site: str
    check_name: str
    status: str
    reason: str | None
    rows_examined: int


@dataclass(frozen=True)
class Point:
    """One session on a control chart; centre and limits are None while there are too few sessions."""

    site: str
    quantity: str
    point_number: int
    session_id: str
    delivery_id: str
    measured_value: float
    unit_code: str
    centre_value: float | None
    lower_limit_value: float | None
    upper_limit_value: float | None
    is_baseline: bool

    @property
    def beyond(self) -> str | None:
        """Above or below the limits; None within them, and for sessions the limits were made from."""
        if self.is_baseline or self.lower_limit_value is None or self.upper_limit_value is None:
            return None
        if self.measured_value > self.upper_limit_value:
            return "above"
        return "below" if self.measured_value < self.lower_limit_value else None


@dataclass(frozen=True)
class WholeSites:
    """Everything about whole sites. charts: site -> points of each quantity, in order."""

    ended: tuple[Ended, ...]
    expectations: tuple[Expectation, ...]
    charts: dict[str, tuple[tuple[Point, ...], ...]]

    def ended_at(self, site: str) -> list[Ended]:
        """How the checks ended on one site: with a finding first, skipped ones last."""
        order = ("crashed", "found", "pass", "skipped")
        return sorted((e for e in self.ended if e.site == site), key=lambda e: (order.index(e.status), e.check_name))

    def expectations_of(self, site: str, check_name: str) -> list[Expectation]:
        """The expectations of one check on one site, those not met first."""
        own = [e for e in self.expectations if (e.site, e.check_name) == (site, check_name)]
        return sorted(own, key=lambda e: (e.is_met, e.expectation_number))

    @property
    def engines(self) -> tuple[str, ...]:
        """Versions of Great Expectations that answered."""
        return tuple(sorted({e.engine_version for e in self.expectations}))

    def findings(self, found: tuple[Finding, ...], site: str | None = None) -> list[Finding]:
        """Those of all findings that are about a whole site."""
        about = {f"site.{e.site}" for e in self.ended}
        return [f for f in found if f.delivery_id in about and site in (None, f.site)]


def read_whole_sites(connection: duckdb.DuckDBPyConnection) -> WholeSites:
    """Everything about whole sites, in an order that does not change."""
    ended = connection.execute(
        "SELECT subject, check_name, status, reason, rows_examined FROM check_runs "
        "WHERE delivery_id = 'site.' || subject ORDER BY subject, check_name"
    ).fetchall()
    expectations = _rows(connection, Expectation, "site_expectations ORDER BY site, check_name, expectation_number")
    points = _rows(connection, Point, "site_control_points ORDER BY site, quantity, point_number")
    charts: dict[str, list[tuple[Point, ...]]] = {}
    codes = [code.value for code in SITE_CONTROL_POINTS.column("quantity").codes]
    for site in sorted({p.site for p in points}):
        for quantity in codes:
            own = tuple(p for p in points if (p.site, p.quantity) == (site, quantity))
            charts.setdefault(site, []).extend([own] if own else [])
    return WholeSites(
        tuple(Ended(*row) for row in ended), tuple(expectations), {site: tuple(own) for site, own in charts.items()}
    )


def _rows(connection: duckdb.DuckDBPyConnection, cls: type[Row], source: str) -> list[Row]:
    columns = ", ".join(f.name for f in fields(cls))  # type: ignore[arg-type]
    return [cls(*row) for row in connection.execute(f"SELECT {columns} FROM {source}").fetchall()]
