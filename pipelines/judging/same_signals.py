"""Whether a trial's file came before, or comes twice, under another trial's id: the same bytes cannot be two trials.

Exact copies are known by checksum before a trial is read; resampled or rescaled ones by the shape of the markers'
paths once it was judged. A resend under the trial's own id is neither; ``pipelines.taking_in.naming`` knows those.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipelines.depot import keys
from pipelines.depot.books.rows import Record
from pipelines.depot.desk import Desk, Opened
from pipelines.depot.published import ProvedResults
from schemas.quality import TRIAL_SHAPES
from schemas.received import Problem, Received
from schemas.trial import FloatArray

if TYPE_CHECKING:
    import pandas as pd

    from pipelines.depot.books.book import Books

#: Trial, its shapes, the checksum of its file, and the delivery it came with if that is another one.
_Shape = tuple[str, Mapping[str, Any], str, Record | None]


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
    return f"a trial of another laboratory, {record.site}"


def copies_by_shape(
    desk: Desk, delivery_id: str, received: Received, shapes: Iterable[pd.DataFrame], shas: Mapping[str, str]
) -> tuple[dict[str, Copy], set[str]]:
    """Trials that are another trial's recording, resampled or rescaled; and all compared.

    shapes: rows of ``trial_shapes`` of each trial of the delivery; shas: trial -> checksum of its file. Compared are
    the delivery's own trials with each other and with trials accepted from deliveries before it.
    """
    from pipelines.science.shapes import Pile, alike, shapes_in

    own = {trial: shape for rows in shapes if len(rows) for trial, shape in shapes_in(rows).items()}
    others: list[_Shape] = [(trial, shape, shas.get(trial, ""), None) for trial, shape in own.items()]
    if own:
        others += _accepted_before(desk, delivery_id, received)
    pile = Pile([shape for _, shape, _, _ in others])
    copies: dict[str, Copy] = {}
    for trial, shape in own.items():
        for other, its_shape, its_sha, record in (others[i] for i in pile.worth_a_look(shape)):
            exact = its_sha == shas.get(trial, "")  # told by checksum already
            if other != trial and not exact and alike(shape, its_shape):
                source = f"{record.delivery_id}/{other}" if record is not None else ""
                copies.setdefault(trial, Copy(_named(other, record, received), source))
    return copies, set(own)


def _accepted_before(desk: Desk, delivery_id: str, received: Received) -> list[_Shape]:
    deliveries = desk.books.deliveries
    before = deliveries.before(desk.made, received.site, received.number, deliveries.came(delivery_id))
    published = desk.books.files.named(_FILE)
    shas = {r.delivery_id: published.get(keys.result(r.delivery_id)) for r in before}
    unread = {name: sha or "" for name, sha in shas.items() if sha is None or sha not in _READ}
    _read(ProvedResults(desk.depot, {place: {_FILE: sha} for place, sha in published.items()}), unread)
    return [(trial, shape, sha, r) for r in before for trial, shape, sha in _READ.get(shas[r.delivery_id] or "", ())]


_FILE = keys.file_of(TRIAL_SHAPES)
#: Checksum of a file of shapes -> trial, its shapes and the checksum of its recording: read once in a run.
_READ: dict[str, list[tuple[str, Mapping[str, FloatArray], str]]] = {}


def _read(proved: ProvedResults, shas: Mapping[str, str]) -> None:
    """Read the shapes of these deliveries' results, all at once: opened one by one, a thousand files take seconds."""
    import duckdb

    from pipelines.science.shapes import POINTS
    from pipelines.telemetry import DUCKDB_CONFIG

    paths = [str(path) for path in proved.paths(shas, TRIAL_SHAPES)]
    if not paths:
        return
    with duckdb.connect(config=dict(DUCKDB_CONFIG)) as connection:
        rows = connection.sql(
            "SELECT delivery_id, trial_id, any_value(raw_sha256) AS sha, marker, "
            "array_agg(height_score ORDER BY point) AS scores FROM read_parquet(?) GROUP BY ALL HAVING count(*) = ? "
            "ORDER BY delivery_id, trial_id, marker",
            params=[paths, POINTS],
        ).to_arrow_table()
    scores = rows["scores"].combine_chunks().flatten().to_numpy(zero_copy_only=False).reshape(-1, POINTS)
    found: dict[tuple[str, str], tuple[str, dict[str, FloatArray], str]] = {}
    columns = (rows[name].to_pylist() for name in ("delivery_id", "trial_id", "sha", "marker"))
    for delivery, trial, sha, marker, points in zip(*columns, scores, strict=True):
        found.setdefault((delivery, trial), (trial, {}, sha))[1][marker] = points
    read: dict[str, list[tuple[str, Mapping[str, FloatArray], str]]] = {sha: [] for sha in shas.values()}
    for (delivery, _), shape in found.items():
        read[shas[delivery]].append(shape)
    _READ.update(read)  # only now: what broke off half-way must not count as read
