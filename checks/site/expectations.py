"""Carries out expectations with Great Expectations, in memory, and gives back plain results. Registers no check.

The only place that knows Great Expectations: an ephemeral context on a data frame, nothing on disk, nothing sent.
"""

from __future__ import annotations

import json
import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

#: What its answers carry that changes from run to run, and single values, which are in the tables already.
_PASSING = {"batch_id"}
_SINGLE = ("partial_unexpected", "unexpected_list", "unexpected_index")


@dataclass(frozen=True)
class Expected:
    """One expectation. kind: its name in Great Expectations, for example expect_column_median_to_be_between.

    where: column -> word; only rows with these words are looked at. arguments: beyond the column. about: words for the
    report (visit, condition, unit, window), passed on untouched.
    """

    kind: str
    column: str
    where: Mapping[str, str] = field(default_factory=dict)
    arguments: Mapping[str, Any] = field(default_factory=dict)
    about: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Answer:
    """What came of one expectation. unexpected: labels of the rows that failed, in the order of the frame."""

    expected: Expected
    met: bool
    observed: float | None
    examined: int | None
    unexpected: tuple[int, ...]
    said: str  # Great Expectations' own answer as JSON, less what changes from run to run, and which rows it is of


def carry_out(frame: pd.DataFrame, wanted: Sequence[Expected]) -> list[Answer]:
    """Validate ``frame`` against all expectations. Raises RuntimeError if one could not be evaluated.

    Expectations on the same rows go into one suite, on a frame of these rows alone: the library's own conditions on
    rows cost several times as much, since it reads, checks and copies each of them many times.
    """
    suites: dict[tuple[tuple[str, str], ...], list[int]] = {}
    for number, one in enumerate(wanted):
        suites.setdefault(tuple(one.where.items()), []).append(number)
    answers: dict[int, Answer] = {}
    for where, numbers in suites.items():
        rows = frame.reset_index(drop=True)
        for column, word in where:
            rows = rows[rows[column] == word]
        answers |= _validated(rows, {number: wanted[number] for number in numbers})
    return [answers[number] for number in range(len(wanted))]


def _validated(rows: pd.DataFrame, wanted: Mapping[int, Expected]) -> dict[int, Answer]:
    """The answers of one suite; the rows' labels are those of the whole frame."""
    frame = rows[rows.columns.intersection([one.column for one in wanted.values()])].reset_index(drop=True)
    batch = _whole_frame().get_batch({"dataframe": frame})
    suite = _library().ExpectationSuite(name="site", expectations=[_expectation(n, one) for n, one in wanted.items()])
    result = batch.validate(suite, result_format="COMPLETE").to_json_dict()
    told = {one["expectation_config"]["meta"]["number"]: one for one in result["results"]}  # failed ones come first
    labels = rows.index.tolist()
    return {number: _answer(one, told[number], labels) for number, one in wanted.items()}


def get_ready() -> None:
    """Import the library and make what every validation needs, which takes seconds, before it is asked for."""
    _whole_frame()


@cache
def _whole_frame() -> Any:
    """What makes a batch of any frame; one for all, since the library writes down each as YAML, in memory."""
    gx = _library()
    from great_expectations.data_context.types.base import ProgressBarsConfig

    context = gx.get_context(mode="ephemeral")
    context.variables.progress_bars = ProgressBarsConfig(globally=False)
    asset = context.data_sources.add_pandas("pool").add_dataframe_asset("rows")
    return asset.add_batch_definition_whole_dataframe("rows")


@cache
def _library() -> Any:
    """Great Expectations, without its warnings about what it imports itself: nobody here can correct those."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        import great_expectations as gx
    return gx


@cache
def engine_version() -> str:
    """Version of the installed library."""
    from importlib import metadata

    return metadata.version("great_expectations")


def _expectation(number: int, one: Expected) -> Any:
    import great_expectations.expectations as kinds

    make = getattr(kinds, "".join(word.capitalize() for word in one.kind.split("_")).replace("Kl", "KL"))
    return make(column=one.column, meta={"number": number}, **one.arguments)


def _answer(one: Expected, told: Mapping[str, Any], labels: Sequence[int]) -> Answer:
    result = told["result"]
    if not result:
        raise RuntimeError(f"{one.kind} of {one.column} could not be evaluated: {_why(told['exception_info'])}")
    observed = result.get("observed_value")
    summed = {k: v for k, v in result.items() if not k.startswith(_SINGLE)}
    settings = {k: v for k, v in told["expectation_config"]["kwargs"].items() if k not in _PASSING}
    said = {
        "type": told["expectation_config"]["type"],
        "kwargs": settings,
        "where": dict(one.where),
        "result": summed,
        "success": told["success"],
    }
    return Answer(
        one,
        bool(told["success"]),
        float(observed) if isinstance(observed, int | float) else None,
        result.get("element_count"),
        tuple(labels[int(row)] for row in result.get("unexpected_index_list") or ()),
        json.dumps(said, sort_keys=True, ensure_ascii=False),
    )


def _why(exceptions: Mapping[str, Any]) -> str:
    """The first exception's own words."""
    for one in (exceptions, *(v for v in exceptions.values() if isinstance(v, Mapping))):
        if message := one.get("exception_message"):
            return str(message)
    return "no reason given"
