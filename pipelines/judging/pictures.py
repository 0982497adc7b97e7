"""The pictures that prove findings: rows for ``finding_pictures``, made while the trial is in memory.

Most checks make their own picture of what they computed (``checks.showing``). Where a plain line is the proof, a check
only names a signal (``force:1:vertical``, ``marker:calcaneus_left:up``, ``cop:2:forward``, ``channel:EMG 2``,
``distance:calcaneus_left:lateral_malleolus_left``), which is drawn here. Contacts are added to whatever is over time.
Nothing here draws; ``pipelines.pages`` does.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np

from checks.evidence import NAN, Kind, Panel, Part, Picture, Role
from checks.findings import Finding
from checks.showing import line, over_time, picture
from pipelines.consent.veil import Veil
from pipelines.science.workspace import Workspace
from schemas.mechanics import centre_of_pressure
from schemas.processing import Processing
from schemas.trial import FORWARD, RIGHT, UP, FloatArray, Trial

#: More contacts than these in one drawing are stripes and no help.
MOST_CONTACTS = 16
_FORCE = {"vertical": UP, "fore_aft": FORWARD, "sideways": RIGHT}
_FORCE_WORDS = {"vertical": "Vertical force", "fore_aft": "Fore-aft force", "sideways": "Sideways force"}
_PLACE = {"forward": FORWARD, "up": UP, "right": RIGHT}
_MARKER_WORDS = {"forward": "position along the running direction", "up": "height", "right": "position to the right"}
_CENTRE_WORDS = {"forward": "along the running direction", "right": "to the runner's right"}
_COP_THRESHOLD_N = Processing().cop_threshold_n


def pictures_of(findings: Sequence[Finding], work: Workspace) -> list[dict[str, Any]]:
    """Rows of ``schemas.quality.FINDING_PICTURES`` for the findings of the trial that show something.

    A signal that the trial does not have gives no rows, since a drawing is never worth losing a finding for. Never
    raises.
    """
    rows: list[dict[str, Any]] = []
    drawn: set[str] = set()
    for finding in findings:
        if finding.finding_id in drawn or finding.trial_id not in (None, work.trial.trial_id):
            continue
        if (shown := picture_of(finding, work)) is not None:
            drawn.add(finding.finding_id)
            rows += _rows(finding, work.trial, shown)
    return rows


def picture_of(finding: Finding, work: Workspace) -> Picture | None:
    """What is drawn beside a finding of the trial; None for nothing."""
    shown = finding.shows or _of_signal(finding, work.trial)
    return _with_contacts_of(shown, work) if shown is not None else None


def veiled(rows: Iterable[Mapping[str, Any]], veil: Veil) -> list[dict[str, Any]]:
    """The rows with hidden words taken out of their texts."""
    text = cache(veil.text)
    return [{**r, "panel_title": text(r["panel_title"]), "part_name": text(r["part_name"])} for r in rows]


def _with_contacts_of(shown: Picture, work: Workspace) -> Picture:
    """The picture with the contacts of the footfalls in whatever is drawn over time."""
    if not any(panel.kind is Kind.OVER_TIME for panel in shown.panels):
        return shown
    rows = [(str(r["side"]), float(r["contact_s"]), float(r["toe_off_s"])) for r in work.footfalls.records]
    contacts = [row for row in rows if math.isfinite(row[1] + row[2])]
    return Picture(tuple(_with_contacts(panel, contacts) for panel in shown.panels))


def _with_contacts(panel: Panel, contacts: Iterable[tuple[str, float, float]]) -> Panel:
    times = [x for part in panel.parts for x, _ in part.points if math.isfinite(x)]
    if panel.kind is not Kind.OVER_TIME or not times:
        return panel
    start, end = min(times), max(times)
    within = [
        Part(Role.CONTACT, side, ((max(a, start), NAN), (min(b, end), NAN)))
        for side, a, b in contacts
        if a < end and b > start
    ]
    return replace(panel, parts=(*panel.parts, *within)) if len(within) <= MOST_CONTACTS else panel


def _rows(finding: Finding, trial: Trial, shown: Picture) -> Iterator[dict[str, Any]]:
    for panel_number, panel in enumerate(shown.panels, start=1):
        for part_number, part in enumerate(panel.parts, start=1):
            for point_number, (x, y) in enumerate(part.points, start=1):
                yield {
                    "finding_id": finding.finding_id,
                    "delivery_id": finding.delivery_id,
                    "trial_id": trial.trial_id,
                    "panel_number": panel_number,
                    "panel_kind": str(panel.kind),
                    "panel_title": panel.title,
                    "across_words": panel.across,
                    "upwards_unit": panel.unit,
                    "part_number": part_number,
                    "part_role": str(part.role),
                    "part_name": part.name,
                    "point_number": point_number,
                    "across_value": x if math.isfinite(x) else None,
                    "upwards_value": y if math.isfinite(y) else None,
                }


# --- named signals ---------------------------------------------------------------------------------------------------


def _of_signal(finding: Finding, trial: Trial) -> Picture | None:
    """The signal that a finding names, 0.6 s to either side of its moment, or of the whole trial without one."""
    found = _signal(finding.signal, trial) if finding.signal is not None else None
    if finding.signal is None or found is None:
        return None
    title, values, rate_hz, unit, start_s = found
    return picture(over_time(title, unit, line("", values, rate_hz, start_s, around=finding.moment_s)))


def _signal(name: str, trial: Trial) -> tuple[str, FloatArray, float, str, float] | None:
    """Title, (n,) values, their rate in Hz, UCUM unit and first time in s; None if the trial has no such signal."""
    kind, *rest = name.split(":")
    if kind == "channel":
        return _channel(name.partition(":")[2], trial)
    if len(rest) != 2:
        return None
    found: tuple[FloatArray | None, float | None, str]
    if kind == "force":
        found = _force(trial, *rest), trial.analog_rate_hz, "N"
    elif kind == "cop":
        found = _centre(trial, *rest), trial.analog_rate_hz, "m"
    elif kind == "marker":
        found = _marker(trial, *rest), trial.marker_rate_hz, "m"
    elif kind == "distance":
        found = _distance(trial, *rest), trial.marker_rate_hz, "m"
    else:
        return None
    values, rate_hz, unit = found
    if values is None or len(values) == 0 or not rate_hz or not math.isfinite(rate_hz) or rate_hz < 0:
        return None
    return _title(kind, *rest), values, rate_hz, unit, 0.0


def _title(kind: str, one: str, other: str) -> str:
    landmark = one.replace("_", " ")
    if kind == "force":
        plate = "all plates together" if one == "all" else f"plate {one}"
        return f"{_FORCE_WORDS[other]}, {plate}"
    if kind == "cop":
        return f"Centre of pressure, plate {one}, {_CENTRE_WORDS[other]}"
    if kind == "marker":
        return f"{landmark}: {_MARKER_WORDS[other]}"
    return f"Distance between {landmark} and {other.replace('_', ' ')}"


def _channel(label: str, trial: Trial) -> tuple[str, FloatArray, float, str, float] | None:
    """A channel that channels.csv explains, during the trial only: a second file may go on longer."""
    own = next((s for s in trial.signals if s.label == label), None)
    if own is None or not math.isfinite(own.rate_hz) or own.rate_hz <= 0 or not math.isfinite(own.start_s):
        return None
    first, stop = (math.ceil((at - own.start_s) * own.rate_hz - 1e-6) for at in (0.0, trial.duration_s))
    first, stop = max(first, 0), min(stop, len(own.samples))
    if first >= stop:
        return None
    start_s = own.start_s + first / own.rate_hz
    return f"Channel {label}", np.asarray(own.samples[first:stop], float), own.rate_hz, own.unit, start_s


def _force(trial: Trial, plate: str, direction: str) -> FloatArray | None:
    axis = _FORCE.get(direction)
    if axis is None or not trial.plates:
        return None
    if plate == "all":
        return trial.force[:, axis] if len({p.force.shape for p in trial.plates}) == 1 else None
    return next((p.force[:, axis] for p in trial.plates if str(p.number) == plate), None)


def _centre(trial: Trial, plate: str, direction: str) -> FloatArray | None:
    axis = _PLACE.get(direction)
    own = next((p for p in trial.plates if str(p.number) == plate), None)
    if own is None or axis in (None, UP):
        return None
    height_m = float(np.mean(own.corners[:, UP]))
    return centre_of_pressure(own.force, own.moment, height_m, _COP_THRESHOLD_N)[:, axis]


def _marker(trial: Trial, role: str, direction: str) -> FloatArray | None:
    axis, path = _PLACE.get(direction), trial.markers.get(role)
    return None if axis is None or path is None else path[:, axis]


def _distance(trial: Trial, one: str, other: str) -> FloatArray | None:
    a, b = trial.markers.get(one), trial.markers.get(other)
    return None if a is None or b is None or a.shape != b.shape else np.linalg.norm(a - b, axis=1)
