"""Deliveries that a row of ``expected_findings.csv`` asks for, because none planned by hand has its name.

The row names the delivery, the trial (runner, visit, site, condition, number) and the check; planted is the fault by
which the check's detection is measured, in the size that matters. A fault that is more than a changed recording, such
as one in the tables, is planned by hand. A row of which planted begins with *Follows from* or *A consequence of* plants nothing.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Collection, Iterator
from typing import TYPE_CHECKING

from demo_site_uploads.simulator.channels import channel_rows
from demo_site_uploads.simulator.delivery import SHORT, Delivery, PlannedTrial, Session
from demo_site_uploads.simulator.faults import Fault
from demo_site_uploads.simulator.labs import HERE, Recording, lab
from demo_site_uploads.simulator.measure import Asked
from demo_site_uploads.simulator.trial import SimulatedTrial, random_source

if TYPE_CHECKING:
    from benchmarks.detection.plants import Plant

_FOLLOWS = re.compile(r"Follows from|A consequence of")
_DELIVERY = re.compile(r"(?P<site>[a-z]+)-(?P<number>\d{3})")
_TRIAL = re.compile(r"(?P<runner>FS-\d+)-(?P<visit>w\d+)-(?P<site>[a-z]+)-(?P<condition>[a-z_]+)-(?P<number>\d+)")
#: Parts of a specimen beside its recording that a plant may change.
_BESIDE = ("row", "channel_rows", "second", "after_writing")
_VISITS = {short: visit for visit, short in SHORT.items()}


def deliveries(planned: Collection[str]) -> tuple[Delivery, ...]:
    """One delivery for each name among the rows that is not in ``planned``."""
    with (HERE / "expected_findings.csv").open(newline="", encoding="utf-8") as lines:
        rows = [row for row in csv.DictReader(lines) if _DELIVERY.fullmatch(row["delivery"])]
    rows = [row for row in rows if not _FOLLOWS.match(row["planted"])]
    left = dict.fromkeys(row["delivery"] for row in rows if row["delivery"] not in planned)
    return tuple(_delivery(name, [row for row in rows if row["delivery"] == name]) for name in left)


def _delivery(name: str, rows: list[dict[str, str]]) -> Delivery:
    found = _DELIVERY.fullmatch(name)
    assert found is not None
    trials = dict.fromkeys(trial for row in rows for trial in _trials(row))  # one standing trial for each condition
    return Delivery(found["site"], f"{name}.zip", found["site"], int(found["number"]), tuple(trials))


def _trials(row: dict[str, str]) -> Iterator[PlannedTrial]:
    """The planted trial, after the standing trial of its condition."""
    named = _TRIAL.fullmatch(row["trial_id"])
    if named is None or named["visit"] not in _VISITS:
        raise ValueError(
            f"expected_findings.csv: {row['trial_id']!r} of {row['delivery']} is no trial such as "
            f"FS-16-w5-brack-cushioned-1. Plan a fault that is not in one trial by hand, in plan_study."
        )
    plant = _plant_of(row["check_name"])
    session = Session(named["runner"], _VISITS[named["visit"]], named["site"])
    if plant.kind != "standing":
        yield PlannedTrial(session, named["condition"], "standing", Asked("standing", muscles=False))
    asked = Asked(plant.kind, muscles=plant.muscles)
    yield PlannedTrial(session, named["condition"], named["number"], asked, _as_fault(plant, session, asked))


def _plant_of(check_name: str) -> Plant:
    from benchmarks.detection.plants import plants

    own = next((plant for plant in plants().values() if plant.check_name == check_name and plant.plant), None)
    if own is None:
        raise ValueError(f"{check_name} has no plant that changes a recording; plan its fault by hand, in plan_study.")
    return own


def _as_fault(plant: Plant, session: Session, asked: Asked) -> Fault:
    """The plant as a fault of the demonstration, which changes the recording and nothing else."""

    def fault(recording: Recording, trial: SimulatedTrial) -> Recording:
        from benchmarks.detection.specimens import around

        assert plant.plant is not None
        rows = channel_rows(session.site, asked.kind, trial.trial_id, muscles=asked.muscles, second_file=False)
        before = around(recording, trial, session.visit, lab(session.site).profile, tuple(rows))
        after = plant.plant(before, plant.matters, random_source(f"{trial.trial_id}/{plant.key}"))
        if any(getattr(after, part) is not getattr(before, part) for part in _BESIDE):
            raise ValueError(f"{plant.key}: more than the recording changes; plan it by hand, in plan_study.")
        return after.recording

    return fault
