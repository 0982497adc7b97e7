"""How the tests of checks run one: a context around a trial, reading or delivery, and what came of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from checks.context import Context
from checks.context import of_delivery as as_shown
from checks.findings import Finding, Report, Stamp
from checks.registry import catalogue
from checks.run import run_one
from pipelines.intake.tables import no_tables
from pipelines.science.workspace import Workspace
from schemas.consent import Consent
from schemas.reading import Reading
from schemas.received import Received
from schemas.study import Study
from schemas.trial import UP, Plate, Posture, Trial
from tests.as_frames import footfall_rows_of
from tests.builders import a_study

STAMP = Stamp("test", "1")


@dataclass(frozen=True)
class Case:
    """A context made when the test runs, and where the fault is (None: the finding names no place).

    exact: place and number of findings are known beforehand; of a fault planted for the measure of detection they are not.
    """

    context: Callable[[], Context]
    place: str | None = None
    findings: int = 1
    exact: bool = True


def of_trial(
    trial: Trial, study: Study | None = None, posture: Posture | None = None, **footfall_changes: Any
) -> Context:
    """A trial with its computed footfalls; ``footfall_changes`` set whole columns of these."""
    study = study or a_study()
    work = Workspace(trial, study.processing, posture)
    if footfall_changes:
        work = work.given(footfalls=footfall_rows_of(work.footfalls.frame().assign(**footfall_changes)))
    return Context(study, "d-001", trial.site, work=work)


def with_parts(context: Context, **parts: Any) -> Context:
    """The context of a trial in which parts of its workspace are given."""
    assert context.work is not None
    return replace(context, work=context.work.given(**parts))


def shown_in(finding: Finding) -> list[str]:
    """Titles of the drawings beside a finding, and the names in them."""
    assert finding.shows is not None
    return [words for panel in finding.shows.panels for words in (panel.title, *(part.name for part in panel.parts))]


def of_reading(reading: Reading) -> Context:
    return Context(a_study(), "d-001", "mill", reading=reading)


def of_delivery(received: Received, study: Study | None = None) -> Context:
    """A delivery of which the check is shown everything, whatever consent covers."""
    study = study or a_study()
    tables = {**no_tables(), **received.tables}
    consent = Consent.of(replace(received, tables=tables), study)
    return Context(study, "d-001", received.site, delivery=received, arrived=received, consent=consent)


def of_covered(received: Received, study: Study | None = None) -> Context:
    """A delivery as a run shows it to checks: as far as consent covers it."""
    study = study or a_study()
    return as_shown(study, "d-001", Consent.of(received, study))


def run(name: str, context: Context) -> Report:
    return run_one(catalogue()[name], context, STAMP)


def status(name: str, context: Context) -> str:
    return run(name, context).runs[0].status


def with_marker(trial: Trial, role: str, change: Callable[[np.ndarray], np.ndarray | None]) -> Trial:
    """The trial with one marker changed; ``change`` gets a copy to write into, or returns a new array."""
    path = trial.markers[role].copy()
    changed = change(path)
    return replace(trial, markers={**trial.markers, role: path if changed is None else changed})


def with_plates(trial: Trial, change: Callable[[Plate], Plate]) -> Trial:
    return replace(trial, plates=tuple(change(plate) for plate in trial.plates))


def lifted(plate: Plate, newtons: np.ndarray | float) -> Plate:
    """The plate with ``newtons`` added to its vertical force at the point below its centre."""
    force, moment = plate.force.copy(), plate.moment.copy()
    extra = np.zeros_like(force)
    extra[:, UP] = newtons
    return replace(plate, force=force + extra, moment=moment + np.cross(plate.corners.mean(axis=0), extra))
