"""What the books cost at 10,000 trials: opening them, and asking what is due. Rows are made up, no file is read.

Times are of one machine, in milliseconds.
"""

from __future__ import annotations

import statistics
from collections.abc import Callable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter

from benchmarks.measured import Part, Row
from pipelines.depot.books.book import Books
from pipelines.depot.books.opening import open_books
from pipelines.depot.books.rows import (
    BORROWED_POSTURE,
    BORROWED_REFERENCES,
    GIVES_POSTURE,
    MADE,
    Gate,
    Payload,
    Record,
    Result,
    TrialVersion,
)
from pipelines.depot.ledger import Ledger
from pipelines.depot.storage import Depot

DELIVERIES, TRIALS_OF_EACH = 1_000, 10
GOAL_MS, ROUNDS = 50.0, 15
_MADE = {"today"}
_UTC = "2026-01-01T00:00:00+00:00"


def measured() -> Part:
    """Opening the books, then each question of what is due."""
    notes = [f"{DELIVERIES} deliveries of {TRIALS_OF_EACH} trials each; rows are made up, no file is read."]
    return Part.of(f"The books at {DELIVERIES * TRIALS_OF_EACH} trials", notes, _rows())


def _rows() -> Iterator[Row]:
    with TemporaryDirectory() as folder:
        root = Path(folder)
        with Depot(root).opened(to_write=True) as books:
            fill(books)
            books.take_stock()
        yield Row("opening them", _median_ms(lambda: _opened(root)), "ms", GOAL_MS)
        with Depot(root).opened() as books:
            found = [Row(f"due: {name}", _median_ms(asked, 5), "ms") for name, asked in questions(books).items()]
            yield from found
            yield Row("all that a run asks before anything else", sum(row.found for row in found), "ms")


def questions(books: Books) -> dict[str, Callable[[], object]]:
    """What a run asks the books before anything else."""
    return {
        "made with something else": lambda: books.deliveries.not_made_with(_MADE),
        "stopped": books.deliveries.stopped,
        "arrivals": books.arrivals.all,
        "all deliveries": books.deliveries.all,
        "consent has changed": books.gates.resting_on_less,
        "another version before": lambda: books.trials.compared_with_another(_MADE),
        "something else before": lambda: books.beside.others(_MADE),
        "a standing trial came": lambda: books.deliveries.standing_came(_MADE),
        "another posture": lambda: books.leaning.on_other_postures(_MADE),
        "other muscle references": lambda: books.leaning.on_other_references(_MADE),
    }


def fill(books: Books) -> None:
    """Put in deliveries of three laboratories: a standing trial and nine running ones of one runner each."""
    with books.transaction():
        ledger = Ledger(books, "benchmark")
        for n in range(DELIVERIES):
            result = _result(n)
            books.deliveries.put(result)
            books.beside.note(result.record.delivery_id)
            ledger.write("taken_in", result.record.delivery_id, "Made up.", result=result.record.result)


def _result(n: int) -> Result:
    site = ("brack", "corrie", "tarn")[n % 3]
    name = f"{site}-{n:04d}"
    ids = [f"{name}-{i}" for i in range(TRIALS_OF_EACH)]
    trials = tuple(
        TrialVersion(
            *(name, trial, site, "accepted", "running" if i else "standing", f"session-{n}", "shod", f"sha {trial}"),
            gives_posture=not i,
            parts=("a", "", "b", "c", "d", "e"),
        )
        for i, trial in enumerate(ids)
    )
    used = {"files": "f", "rows": "r", "posture": "p", "references": ""}
    lent = {BORROWED_REFERENCES: ""} | ({BORROWED_POSTURE: ""} if n % 10 == 0 else {})
    stamps = {trial: {**used, **({GIVES_POSTURE: "p"} if not i else lent)} for i, trial in enumerate(ids)}
    record = Record(
        *(name, f"{site}/{name}", "taken_in", site, n, f"print {n}", _UTC, "code", "study", f"result {n}"), held=True
    )
    runner = f"runner-{n // 3}"
    events = tuple((runner, scope, "given", 0) for scope in ("motion", "force", "pooling"))
    files = {trial: [f"sha {trial}"] for trial in ids}
    gate = Gate((runner,), events, {}, files, dict.fromkeys(ids, runner), (f"table {n}",))
    payload = Payload({f"trials/{trial}.c3d": f"sha {trial}" for trial in ids})
    return Result(record, payload, (), trials, {MADE: "today"}, stamps, gate)


def _opened(root: Path) -> None:
    books = open_books(root)
    books.close()


def _median_ms(asked: Callable[[], object], rounds: int = ROUNDS) -> float:
    taken = []
    for _ in range(rounds):
        start = perf_counter()
        asked()
        taken.append((perf_counter() - start) * 1000)
    return statistics.median(taken)
