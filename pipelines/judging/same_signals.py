"""Whether a trial's file came before, or comes twice, under another trial's id: the same bytes cannot be two trials.

Exact copies are known by checksum before a trial is read; cut, resampled, rescaled or noisy ones by the shape of their
strides once they were judged. A resend under the trial's own id is neither; ``pipelines.taking_in.naming`` knows those.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter
from typing import TYPE_CHECKING

from pipelines.depot import keys
from pipelines.depot.books.rows import Record
from pipelines.depot.desk import Desk, Opened
from pipelines.depot.published import ProvedResults
from schemas.quality import TRIAL_SHAPES
from schemas.received import Problem, Received

if TYPE_CHECKING:
    import pandas as pd

    from pipelines.depot.books.book import Books
    from pipelines.science.frames import Rows
    from pipelines.science.known_again import Kept

    #: Trial, what is kept of it, the checksum of its file, and the delivery it came with if that is another one.
    _Other = tuple[str, Kept, str, Record | None]


@dataclass(frozen=True)
class Copy:
    """Whose recording a trial is. named: for people; source: ``delivery/trial`` if another delivery brought it."""

    named: str
    source: str


def with_copies(books: Books, opened: Opened, came: str | None) -> tuple[Problem, ...]:
    """A problem for each trial whose file is byte for byte that of another trial, here or accepted before.

    came: when the delivery first came; None if only now.
    """
    received = opened.received
    shas = {f.path: f.sha256 for f in received.files}
    own = [(trial, shas[path]) for trial, path in _trials(received) if path in shas]
    others: list[tuple[str, str, Record | None]] = [(trial, sha, None) for trial, sha in own]
    earlier = books.trials.with_file((sha for _, sha in own), received.site, received.number, came)
    others += [(trial.trial_id, str(trial.raw_sha256), record) for trial, record in earlier]
    by_sha: dict[str, list[tuple[str, Record | None]]] = {}
    for trial, sha, source in others:
        by_sha.setdefault(sha, []).append((trial, source))
    found = []
    for trial, sha in own:
        twin = next(((t, r) for t, r in by_sha[sha] if t != trial), None)
        if twin is not None:
            found.append(_problem(trial, *twin, received))
    return tuple(found)


def _trials(received: Received) -> Iterator[tuple[str, str]]:
    for row in received.tables["sent_trials"][["trial_id", "file"]].dropna().itertuples(index=False):
        yield str(row.trial_id), str(row.file)


def _problem(trial: str, twin: str, record: Record | None, received: Received) -> Problem:
    return Problem(
        "key",
        f"the file of trial {trial} is byte for byte that of {_named(twin, record, received)}",
        "a recording of its own for every trial",
        file="trials.csv",
        place=f"trial_id {trial}, column file",
        trial_id=trial,
    )


def _named(twin: str, record: Record | None, received: Received) -> str:
    """Another trial as a message to the laboratory may name it: trials of others are nobody else's business."""
    if record is None:
        return f"trial {twin}"
    if record.site == received.site:
        return f"trial {twin}, which came with {record.delivery_id}"
    return "a trial of another site"


def copies_by_shape(
    desk: Desk, delivery_id: str, received: Received, shapes: Iterable[Rows], shas: Mapping[str, str]
) -> tuple[dict[str, Copy], set[str]]:
    """Trials that are another trial's recording, or a part of it, whatever was done to it; and all compared.

    shapes: rows of ``trial_shapes`` of each trial of the delivery; shas: trial -> checksum of its file. Compared are
    the delivery's own trials with each other and with trials accepted from deliveries before it, of these only those
    whose shapes lie in the same cells.
    """
    from pipelines.science.known_again import kept_in, rows_in

    own = kept_in(row for rows in shapes for row in rows_in(rows))
    others: list[_Other] = [(trial, kept, shas.get(trial, ""), None) for trial, kept in own.items()]
    others += _accepted_before(desk, delivery_id, received, own)
    by_cell: dict[str, set[int]] = {}
    for place, (_, kept, _, _) in enumerate(others):
        for cell in kept.own_cells:
            by_cell.setdefault(cell, set()).add(place)
    copies: dict[str, Copy] = {}
    for trial, kept in own.items():
        near = set().union(*(by_cell.get(cell, ()) for cell in kept.cells))
        for other, its_own, its_sha, record in (others[place] for place in sorted(near)):
            exact = its_sha == shas.get(trial, "")  # told by checksum already
            if other != trial and not exact and kept.is_one_with(its_own):
                source = f"{record.delivery_id}/{other}" if record is not None else ""
                copies.setdefault(trial, Copy(_named(other, record, received), source))
                break
    return copies, set(own)


def cells_of_trials(shapes: pd.DataFrame) -> dict[str, list[str]]:
    """Trial -> the cells in which its shapes lie, from rows of ``trial_shapes``."""
    return {str(trial): sorted(set(cells)) for trial, cells in shapes.groupby("trial_id")["cell"]}


def copied_after(desk: Desk, record: Record, shapes: pd.DataFrame, trials: Collection[str]) -> list[str]:
    """Deliveries that come after one and have accepted trials that are recordings of its ``trials``, or parts of them.

    shapes: rows of ``trial_shapes``, of these trials and others.
    """
    from pipelines.science.known_again import kept_in

    names = ["trial_id", "marker", "stride_number", "cell", "shape_code"]
    own = kept_in(shapes.loc[shapes["trial_id"].isin(trials), names].itertuples(index=False, name=None))
    cells = frozenset().union(*(kept.cells for kept in own.values()))
    came = desk.books.deliveries.came(record.delivery_id)
    near = desk.books.trials.with_shapes_after(cells, desk.made, record.site, record.number, came)
    found = _read(_results(desk), near) if near else ()
    return sorted(
        {
            delivery
            for delivery, trial, kept, _ in found
            if any(other != trial and kept.is_one_with(original) for other, original in own.items())
        }
    )


def _accepted_before(desk: Desk, delivery_id: str, received: Received, own: Mapping[str, Kept]) -> list[_Other]:
    """Trials accepted before with shapes in the cells of ``own``."""
    books, cells = desk.books, frozenset().union(*(kept.cells for kept in own.values()))
    came = books.deliveries.came(delivery_id)
    near = books.trials.with_shapes_before(cells, desk.made, received.site, received.number, came)
    if not near:
        return []
    records = {record.delivery_id: record for record in books.deliveries.named(near)}
    return [
        (trial, kept, sha, records[delivery])
        for delivery, trial, kept, sha in _read(_results(desk), near)
        if delivery in records
    ]


_FILE = keys.file_of(TRIAL_SHAPES)


def _results(desk: Desk) -> ProvedResults:
    """Results of which the shapes are proved before they are read."""
    published = desk.books.files.named(_FILE)
    return ProvedResults(desk.depot, {place: {_FILE: sha} for place, sha in published.items()})


def _read(proved: ProvedResults, near: Mapping[str, set[str]]) -> Iterator[tuple[str, str, Kept, str]]:
    """Delivery, trial, what is kept of it and the checksum of its recording, all at once."""
    import duckdb

    from pipelines.science.known_again import kept_in
    from pipelines.telemetry import DUCKDB_CONFIG

    paths = [str(path) for path in proved.paths(near, TRIAL_SHAPES)]
    wanted = sorted({trial for trials in near.values() for trial in trials})
    with duckdb.connect(config=dict(DUCKDB_CONFIG)) as connection:
        rows = connection.execute(
            "SELECT delivery_id, raw_sha256, trial_id, marker, stride_number, cell, shape_code FROM read_parquet(?) "
            "WHERE list_contains(?, trial_id) ORDER BY delivery_id, trial_id, marker, stride_number",
            [paths, wanted],
        ).fetchall()
    for delivery, own in groupby(rows, key=itemgetter(0)):
        listed = list(own)
        shas = {trial: sha for _, sha, trial, *_ in listed}
        for trial, kept in kept_in(row[2:] for row in listed).items():
            if trial in near[delivery]:
                yield delivery, trial, kept, shas[trial]
