"""One run: what is new in the inbox or due again is worked off, then warehouse and pages are made. In process.

What happens to one delivery is in ``pipelines.taking_in.stages``; how it is told is in ``pipelines.taking_in.summary``.
"""

from __future__ import annotations

import hashlib
import multiprocessing
import os
import traceback
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import Any

from checks.findings import Stamp
from pipelines.depot.arrivals import Arrival, find_arrivals
from pipelines.depot.books.rows import Known, Record
from pipelines.depot.consents import changed
from pipelines.depot.desk import Desk
from pipelines.depot.ledger import Head, Ledger, whoami
from pipelines.depot.overrides import overrides_changed, tell_overrides
from pipelines.depot.storage import Depot, write_json
from pipelines.errors import Unusable
from pipelines.identity.word_list import names_beside
from pipelines.progress import Progress
from pipelines.study.file import LoadedStudy, load_study
from pipelines.taking_in.keeping import shut_bytes
from pipelines.taking_in.resends import earlier_changed, told_resends
from pipelines.taking_in.stages import Passage, judge_again, take_in
from pipelines.taking_in.summary import Done, Failure, Summary, count_standings
from pipelines.versions import code_version, shown_version
from pipelines.workers.engine import LocalEngine
from pipelines.workers.isolation import Isolated

CONSENTS_CHANGED = "What is known of its runners' consent has changed."
DECIDED = "A data manager decided on a finding."
EARLIER_CHANGED = "An earlier delivery has come, or accepts other trials than before."
STANDING_CAME = "A standing trial it waited for has come."


#: Imported once, before workers are forked: loading these takes longer than judging a trial.
_WORKERS_NEED = (
    "pandera.pandas",
    "pipelines.intake.opening",
    "scipy.signal",
    "scipy.sparse",
    "scipy.interpolate",
    "edfio",
    "pipelines.judging.judge",
    "pipelines.judging.traces",
    "pipelines.intake.to_trial",
    "pipelines.intake.sidecar_clock",
    "pipelines.science.workspace",
)


def run(
    study_path: Path,
    inbox: Path,
    depot_root: Path | str,
    actor: str | None = None,
    progress: Progress | None = None,
    workers: int | None = None,
) -> Summary:
    """Take in what is new, judge again what is due, and build warehouse and pages if anything changed.

    Raises Unusable if the study file, the inbox or the depot cannot be used, or if another run is writing there.
    """
    study = load_study(study_path)
    if not inbox.is_dir():
        raise Unusable(
            "There is no such folder.",
            "the inbox: a folder with one folder per laboratory.",
            "Make it, or give its path with --inbox.",
            file=inbox,
        )
    depot = Depot(depot_root)
    progress = progress or Progress()
    with depot.writing(actor or whoami()), open_desk(depot, study, actor, workers) as desk:
        note_what_a_kill_left(desk)
        summary = Summary(depot)
        _work_off(desk, inbox, progress, summary)
        if not is_built(desk):
            build(desk, progress.say)
            summary.built = True
    return summary


@contextmanager
def open_desk(depot: Depot, study: LoadedStudy, actor: str | None = None, workers: int | None = None) -> Iterator[Desk]:
    """The desk for ``study``; the caller holds the depot's lock while it writes. Workers start with the first job."""
    settings = study.study
    stamp = Stamp(code_version(), study.version)
    ledger = Ledger(depot.ledger, actor or whoami())
    if "forkserver" in multiprocessing.get_all_start_methods():
        multiprocessing.get_context("forkserver").set_forkserver_preload(list(_WORKERS_NEED))
    count = workers or os.cpu_count() or 1
    limits = settings.trial_time_limit_s, settings.trial_memory_limit_mb
    with depot.opened(), Isolated(count, *limits) as isolated:
        yield Desk(depot, study, stamp, ledger, isolated, LocalEngine(isolated))


def note_what_a_kill_left(desk: Desk) -> None:
    """Finish what an earlier run was killed over: ledger lines of results in place, bytes still to be shut."""
    told = desk.ledger.results()
    for record in desk.books.deliveries.all():
        if record.result not in told:
            _note(desk, record, "Noted after an interruption.")
    tell_overrides(desk)
    shut_bytes(desk.depot)


def take_in_arrival(desk: Desk, arrival: Arrival, tell: Callable[[int, int], None]) -> Passage:
    """Take in one arrival, write it into the ledger and remember it."""
    signature = arrival.signature()
    passage = take_in(desk, arrival, tell)
    if passage.changed:
        _note(desk, passage.record, f"It arrived as {arrival.key}.")
    with desk.books.transaction():
        desk.books.arrivals.put(arrival.site, arrival.name, Known(signature, passage.record.delivery_id))
    return passage


def work_on(desk: Desk, arrival: Arrival, tell: Callable[[int, int], None]) -> Record:
    """Take in one arrival, or judge it again if it is known; then judge again what waited for it."""
    before = desk.books.arrivals.known(arrival.site, arrival.name)
    record = desk.books.deliveries.get(before.delivery_id) if before is not None else None
    if record is None or is_due(desk, arrival):
        record = take_in_arrival(desk, arrival, tell).record
    elif record.held:
        record = again(desk, record, "Asked for.", tell)
    for why, other in due_again(desk):
        again(desk, other, why, tell)
    return desk.books.deliveries.get(record.delivery_id) or record


def again(desk: Desk, record: Record, why: str, tell: Callable[[int, int], None]) -> Record:
    """Judge a delivery again and write it into the ledger."""
    now = judge_again(desk, record, tell).record
    _note(desk, now, why)
    return now


def is_due(desk: Desk, arrival: Arrival) -> bool:
    """Whether an arrival is new, changed, or was turned away by another code or study."""
    before = desk.books.arrivals.known(arrival.site, arrival.name)
    record = desk.books.deliveries.get(before.delivery_id) if before else None
    if before is None or record is None or before.signature != arrival.signature():
        return True
    return not record.held and not record.made_by(desk.stamp)


def stale(desk: Desk) -> list[Record]:
    """Deliveries the depot holds that another code or study judged."""
    return desk.books.deliveries.of_other_making(desk.stamp)


def consents_changed(desk: Desk) -> Iterator[Record]:
    """Deliveries to judge again because of what is known of consent today; each once, the latest of a site first.

    Looked up anew after each, since a trial that is withheld from now on ends its earlier versions, too.
    """
    done: set[str] = set()
    while due := [r for r in changed(desk) if r.delivery_id not in done]:
        done.add(due[0].delivery_id)
        yield due[0]


def waited_for(desk: Desk) -> list[Record]:
    """Deliveries whose running trials waited for a standing trial that another delivery has brought."""
    return desk.books.deliveries.standing_came(desk.stamp)


def due_again(desk: Desk) -> Iterator[tuple[str, Record]]:
    """Deliveries the depot holds that must be judged again, and why; each kind is looked up when its turn comes."""
    kinds = (
        (CONSENTS_CHANGED, consents_changed),
        (DECIDED, overrides_changed),
        (EARLIER_CHANGED, earlier_changed),
        (STANDING_CAME, waited_for),
    )
    for why, due in kinds:
        for record in due(desk):
            yield why, record


def _work_off(desk: Desk, inbox: Path, progress: Progress, summary: Summary) -> None:
    for record in stale(desk):
        _again(desk, record, "Code or study file changed.", progress, summary)
    arrivals, summary.not_deliveries = find_arrivals(inbox, names_beside(desk.study.path))
    queue = deque(a for a in arrivals if is_due(desk, a))
    while queue:
        arrival = queue.popleft()
        with _told_if_it_fails(desk, arrival.key, summary), progress.delivery(arrival.key) as tell:
            passage = take_in_arrival(desk, arrival, tell)
            if passage.changed:
                _done(desk, passage.record, "new", summary)
            if passage.evicted is not None:
                queue.extend(a for a in arrivals if a.key == passage.evicted.arrival)
    for why, record in due_again(desk):
        _again(desk, record, why, progress, summary)


def _again(desk: Desk, record: Record, why: str, progress: Progress, summary: Summary) -> None:
    with _told_if_it_fails(desk, record.delivery_id, summary), progress.delivery(record.delivery_id) as tell:
        _done(desk, again(desk, record, why, tell), why, summary)


@contextmanager
def _told_if_it_fails(desk: Desk, about: str, summary: Summary) -> Iterator[None]:
    """Keeps one delivery's failure from the others: it is told, written into the ledger, and tried again next time."""
    try:
        yield
    except Exception as error:
        frames = traceback.extract_tb(error.__traceback__)  # places in the code only: words could name a runner
        where = [f"{Path(f.filename).name}:{f.lineno} {f.name}" for f in frames]
        desk.ledger.write("failed", about, type(error).__name__, where=where)
        ours = not isinstance(error, Unusable)
        told = f"{type(error).__name__}: {error}" if ours else str(error)
        summary.failures.append(Failure(about, told, ours))


def _done(desk: Desk, record: Record, why: str, summary: Summary) -> None:
    summary.done = [d for d in summary.done if d.record.delivery_id != record.delivery_id]
    summary.done.append(Done(record, why))


def _note(desk: Desk, record: Record, why: str) -> None:
    details: dict[str, Any] = {
        "arrival": record.arrival,
        "fingerprint": record.fingerprint,
        "result": record.result,
        "code_version": record.code_version,
        "study_version": record.study_version,
        "trials": dict(count_standings(desk.depot, record)),
    }
    if resends := told_resends(desk, record):
        details["resends"] = resends
    desk.ledger.write(record.status, record.delivery_id, why, **details)


def is_built(desk: Desk) -> bool:
    """Whether warehouse and pages are there and show what the depot holds."""
    import json

    depot = desk.depot
    if not (depot.built.exists() and depot.warehouse.exists() and depot.pages.is_dir()):
        return False
    return bool(json.loads(depot.built.read_text(encoding="utf-8"))["from"] == _state(desk))


def build(desk: Desk, say: Callable[[str], None]) -> Path:
    """Build warehouse and pages, and note what they show and how far the ledger reached. Returns the pages' folder."""
    for part in (build_warehouse_stage, build_pages_stage):
        say("building the warehouse" if part is build_warehouse_stage else "writing the pages")
        part(desk)
    return desk.depot.pages


def build_warehouse_stage(desk: Desk) -> dict[str, int]:
    """Build the warehouse; rows by table."""
    from pipelines.pool.build import build_warehouse

    results = desk.books.deliveries.results()
    rows = build_warehouse(desk.depot, desk.study, desk.stamp.code_version, results).rows
    desk.ledger.write("built", "depot", "Deliveries, code or study file changed.", rows=rows)
    return rows


def build_pages_stage(desk: Desk) -> Path:
    """Write the pages, then note that all is built."""
    from pipelines.pages import write_pages

    pages = write_pages(desk.depot, desk.study)
    write_json(desk.depot.built, {"from": _state(desk), "ledger": asdict(desk.ledger.head())})
    return pages


def ledger_reached(depot: Depot) -> Head | None:
    """How far the ledger reached when warehouse and pages were last built."""
    import json

    if not depot.built.exists():
        return None
    return Head(**json.loads(depot.built.read_text(encoding="utf-8"))["ledger"])


def _state(desk: Desk) -> str:
    results = sorted(desk.books.deliveries.results().items())
    return hashlib.sha256(repr((results, asdict(desk.stamp), shown_version())).encode()).hexdigest()
