"""Ten questions a statistician asks of footfalls: in SQL to the warehouse, in pandas over CSV files of the same rows.

Both ways give the same numbers, which ``compare`` looks at before it tells how long they took. The pandas way is a
script's: it reads of each file the columns it needs, and then answers.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import duckdb

CSV_TABLES = ("footfalls", "trials", "runners", "sessions")
#: Numbers that come from sums in another order agree to this part.
_AGREE = 1e-9
Frame = Any


@dataclass(frozen=True)
class Csv:
    """The folder with the files."""

    folder: Path

    def read(self, table: str, *columns: str) -> Frame:
        """Some columns of one file."""
        import pandas as pd

        return pd.read_csv(self.folder / f"{table}.csv", usecols=list(columns))

    def footfalls(self, *columns: str, of: tuple[str, ...] = ("condition",)) -> Frame:
        """Columns of footfalls with some of their trials."""
        return self.read("footfalls", "trial_id", *columns).merge(self.read("trials", "trial_id", *of), on="trial_id")


@dataclass(frozen=True)
class Question:
    """One question in both ways; each gives rows whose last column is a number."""

    what: str
    sql: str
    pandas: Callable[[Csv], Frame]


def _runner_means(csv: Csv) -> Frame:
    rows = csv.footfalls("contact_time_s", of=("participant_id", "condition"))
    trials = rows.groupby(["condition", "participant_id", "trial_id"])["contact_time_s"].mean()
    return trials.groupby(["condition", "participant_id"]).mean().groupby("condition").mean()


def _within_runners(csv: Csv) -> Frame:
    rows = csv.footfalls("foot_strike_angle_deg", of=("participant_id", "visit", "condition"))
    means = rows.groupby(["visit", "participant_id", "condition"])["foot_strike_angle_deg"].mean().unstack("condition")
    means = means.reindex(columns=["thin_soled", "cushioned"])
    return (means["thin_soled"] - means["cushioned"]).groupby("visit").mean()


def _sides(csv: Csv) -> Frame:
    rows = csv.footfalls("side", "contact_time_s", of=("participant_id",))
    means = rows.groupby(["participant_id", "side"])["contact_time_s"].mean().unstack("side")
    means = means.reindex(columns=["left", "right"])
    return means["left"] - means["right"]


def _correlation(csv: Csv) -> Frame:
    rows = csv.footfalls("contact_time_s", "step_length_m", of=("site",))
    return rows.groupby("site").apply(
        lambda own: own["contact_time_s"].corr(own["step_length_m"]), include_groups=False
    )


def _by_sex(csv: Csv) -> Frame:
    rows = csv.footfalls("active_peak_bw", of=("participant_id", "condition"))
    rows = rows.merge(csv.read("runners", "participant_id", "sex"), on="participant_id")
    return rows.groupby(["sex", "condition"])["active_peak_bw"].mean()


def _by_speed(csv: Csv) -> Frame:
    rows = csv.footfalls("leg_stiffness_kn_per_m", of=("session_id",))
    rows = rows.merge(csv.read("sessions", "session_id", "set_speed_m_per_s"), on="session_id")
    return rows.groupby("set_speed_m_per_s")["leg_stiffness_kn_per_m"].median()


def _drift(csv: Csv) -> Frame:
    rows = csv.read("footfalls", "trial_id", "footfall_number", "contact_time_s").sort_values("footfall_number")
    per_trial = rows.groupby("trial_id")["contact_time_s"]
    return per_trial.tail(10).groupby(rows["trial_id"]).mean() - per_trial.head(10).groupby(rows["trial_id"]).mean()


def _simple(table_column: str, of: tuple[str, ...], how: str, *values: float) -> Callable[[Csv], Frame]:
    return lambda csv: getattr(csv.footfalls(table_column, of=of).groupby(list(of))[table_column], how)(*values)


_JOIN = "footfalls JOIN trials USING (trial_id)"
QUESTIONS = (
    Question(
        "mean contact time of each condition: footfalls to trials to runners",
        "SELECT condition, avg(m) FROM (SELECT condition, participant_id, avg(m) AS m FROM (SELECT condition, "
        f"participant_id, trial_id, avg(contact_time_s) AS m FROM {_JOIN} GROUP BY ALL) GROUP BY ALL) GROUP BY ALL",
        _runner_means,
    ),
    Question(
        "how many footfalls each site, visit and condition has",
        f"SELECT site, visit, condition, count(contact_time_s) FROM {_JOIN} GROUP BY ALL",
        _simple("contact_time_s", ("site", "visit", "condition"), "count"),
    ),
    Question(
        "spread of stride length at each site",
        f"SELECT site, stddev_samp(stride_length_m) FROM {_JOIN} GROUP BY ALL",
        _simple("stride_length_m", ("site",), "std"),
    ),
    Question(
        "95th percentile of the loading rate in each condition",
        f"SELECT condition, quantile_cont(average_loading_rate_bw_per_s, 0.95) FROM {_JOIN} GROUP BY ALL",
        _simple("average_loading_rate_bw_per_s", ("condition",), "quantile", 0.95),
    ),
    Question(
        "thin-soled less cushioned foot-strike angle within runners, by visit",
        "SELECT visit, avg(t - c) FROM (SELECT visit, participant_id, "
        "avg(foot_strike_angle_deg) FILTER (condition = 'thin_soled') AS t, "
        "avg(foot_strike_angle_deg) FILTER (condition = 'cushioned') AS c "
        f"FROM {_JOIN} GROUP BY ALL) GROUP BY ALL",
        _within_runners,
    ),
    Question(
        "left less right contact time of each runner",
        "SELECT participant_id, avg(contact_time_s) FILTER (side = 'left') - avg(contact_time_s) "
        f"FILTER (side = 'right') FROM {_JOIN} GROUP BY ALL",
        _sides,
    ),
    Question(
        "correlation of contact time and step length at each site",
        f"SELECT site, corr(contact_time_s, step_length_m) FROM {_JOIN} GROUP BY ALL",
        _correlation,
    ),
    Question(
        "active peak by sex and condition",
        f"SELECT sex, condition, avg(active_peak_bw) FROM {_JOIN} JOIN runners USING (participant_id) GROUP BY ALL",
        _by_sex,
    ),
    Question(
        "median leg stiffness at each set speed",
        f"SELECT sessions.set_speed_m_per_s, median(leg_stiffness_kn_per_m) FROM {_JOIN} "
        "JOIN sessions USING (session_id) GROUP BY ALL",
        _by_speed,
    ),
    Question(
        "last ten less first ten contact times of each trial",
        "SELECT trial_id, avg(contact_time_s) FILTER (back <= 10) - avg(contact_time_s) FILTER (place <= 10) FROM "
        "(SELECT trial_id, contact_time_s, row_number() OVER (w ORDER BY footfall_number) AS place, "
        "row_number() OVER (w ORDER BY footfall_number DESC) AS back FROM footfalls "
        "WINDOW w AS (PARTITION BY trial_id)) GROUP BY ALL",
        _drift,
    ),
)


@dataclass(frozen=True)
class Took:
    """How long one question took each way, in s."""

    what: str
    duckdb_s: float
    pandas_s: float


def compare(warehouse: Path, folder: Path, rounds: int = 3) -> Iterator[Took]:
    """Ask every question both ways; of DuckDB the median of a few rounds. ValueError if the answers differ."""
    import statistics

    import pandas as pd  # noqa: F401  (before the first question, whose time it would be)

    from pipelines.pool.query import open_read_only

    write_csv(warehouse, folder)
    csv = Csv(folder)
    with open_read_only(warehouse) as connection:
        for question in QUESTIONS:
            rounds_taken = [_timed(partial(_asked, connection, question.sql)) for _ in range(rounds)]
            taken, answers = zip(*rounds_taken, strict=True)
            pandas_s, theirs = _timed(partial(_in_pandas, question, csv))
            _refuse_differing(question.what, answers[0], theirs)
            yield Took(question.what, statistics.median(taken), pandas_s)


def write_csv(warehouse: Path, folder: Path) -> None:
    """The tables as CSV files, as somebody without a warehouse would be sent them."""
    import duckdb

    folder.mkdir(exist_ok=True)
    with duckdb.connect(str(warehouse), read_only=True) as connection:
        for table in CSV_TABLES:
            connection.execute(f"COPY {table} TO '{folder / table}.csv' (HEADER)")


def _timed(call: Callable[[], dict[Any, float]]) -> tuple[float, dict[Any, float]]:
    start = perf_counter()
    answer = call()
    return perf_counter() - start, answer


def _asked(connection: duckdb.DuckDBPyConnection, sql: str) -> dict[Any, float]:
    rows = connection.execute(sql).fetchall()
    return {row[0] if len(row) == 2 else row[:-1]: float(row[-1]) for row in rows if row[-1] is not None}


def _in_pandas(question: Question, csv: Csv) -> dict[Any, float]:
    return {key: float(value) for key, value in question.pandas(csv).dropna().items()}


def _refuse_differing(what: str, ours: dict[Any, float], theirs: dict[Any, float]) -> None:
    theirs = {key: value for key, value in theirs.items() if key in ours or value != 0}  # a count of none has no row
    if ours.keys() != theirs.keys():
        raise ValueError(f"{what}: {len(ours)} and {len(theirs)} rows, not of the same things")
    for key, value in ours.items():
        if abs(value - theirs[key]) > _AGREE * max(1.0, abs(value)):
            raise ValueError(f"{what}: {value!r} and {theirs[key]!r} for {key}")
