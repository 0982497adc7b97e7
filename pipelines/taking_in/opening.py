"""Opens the desk that a run, a decision or a check at the laboratory works at."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Iterator
from contextlib import contextmanager

from checks.findings import Stamp
from pipelines.depot.desk import Desk
from pipelines.depot.ledger import Ledger, whoami
from pipelines.depot.plans import frozen_plans
from pipelines.depot.storage import Depot
from pipelines.identity.reasons import refuse_runner_as_name
from pipelines.identity.word_list import names_beside
from pipelines.judging.stamps import made_today
from pipelines.study.file import LoadedStudy
from pipelines.versions import code_version, judging_sources
from pipelines.workers.engine import LocalEngine
from pipelines.workers.isolation import Isolated

#: Imported once, before workers are forked: loading these takes longer than judging a trial.
WORKERS_NEED = (
    "pandera.pandas",
    "pipelines.intake.opening",
    "pipelines.intake.identifying",
    "schemas.convert.to_pandera",
    "scipy.signal",
    "scipy.sparse",
    "scipy.interpolate",
    "edfio",
    "pipelines.judging.judge",
    "pipelines.judging.pictures",
    "pipelines.intake.to_trial",
    "pipelines.intake.sidecar_clock",
    "pipelines.science.workspace",
)


@contextmanager
def open_desk(depot: Depot, study: LoadedStudy, actor: str | None = None, workers: int | None = None) -> Iterator[Desk]:
    """The desk for ``study``; the caller holds the depot's lock while it writes. Workers start with the first job.

    Raises Unusable if the depot is another study's, or the plan asks one thing twice and was not frozen so.
    """
    settings = study.study
    stamp = Stamp(code_version(), study.version)
    if "forkserver" in multiprocessing.get_all_start_methods():
        multiprocessing.get_context("forkserver").set_forkserver_preload(list(WORKERS_NEED))
    count = workers or os.cpu_count() or 1
    limits = settings.trial_time_limit_s, settings.trial_memory_limit_mb
    with depot.opened() as books, Isolated(count, *limits) as isolated:
        books.refuse_other_study(settings.known_by, study.path)
        if study.plan is not None:
            study.plan.refuse_repeats([one.sha256 for one in frozen_plans(books)])
        refuse_runner_as_name(actor or "", books.gates.every_runner())
        made = made_today(settings, names_beside(study.path), judging_sources())
        ledger = Ledger(depot.books, actor or whoami())
        yield Desk(depot, study, stamp, ledger, isolated, LocalEngine(isolated), made)
