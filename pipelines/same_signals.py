"""Whether a trial's file came before, or comes twice, under another trial's id: the same bytes cannot be two trials.

Only exact copies are known here, by checksum. A resend under the trial's own id is not one; ``pipelines.naming`` knows
those.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from pipelines.arrivals import Record
from pipelines.desk import Opened
from pipelines.earlier import column
from pipelines.storage import Depot
from schemas.received import Problem, Received


def with_copies(depot: Depot, opened: Opened, all_records: Iterable[Record]) -> tuple[Problem, ...]:
    """A problem for each trial whose file is byte for byte that of another trial, here or accepted before."""
    received = opened.received
    shas = {f.path: f.sha256 for f in received.files}
    own = [(trial, shas[path]) for trial, path in _trials(received) if path in shas]
    others: list[tuple[str, str, Record | None]] = [(trial, sha, None) for trial, sha in own]
    for record in all_records:
        if record.taken_in and record.arrival != opened.arrival and not _later(record, received):
            trials, its_shas = (column(depot, record, "trials", name) for name in ("trial_id", "raw_sha256"))
            others += [(trial, sha, record) for trial, sha in zip(trials, its_shas, strict=True)]
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


def _later(record: Record, received: Received) -> bool:
    """Whether a delivery of the same laboratory came after this one: then the copy is the other one's fault."""
    return record.site == received.site and (record.number or 0) >= (received.number or 0)


def _problem(trial: str, twin: str, record: Record | None, received: Received) -> Problem:
    if record is None or record.site == received.site:
        where = f"that of trial {twin}" + (f", which came with {record.delivery_id}" if record else "")
    else:
        where = f"that of a trial of another laboratory, {record.site}"
    return Problem(
        "key",
        f"the file of trial {trial} is byte for byte {where}",
        "a recording of its own for every trial",
        file="trials.csv",
        place=f"trial_id {trial}, column file",
        trial_id=trial,
    )
