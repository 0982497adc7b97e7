"""Planted faults: what goes wrong between the runner and the file, one small function for each.

A fault takes the recording and the true trial and returns a changed recording; the last two change the file's bytes.
Labels are those of the laboratory whose trial the plan gives to the fault.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from demo_site_uploads.simulator.c3d_edit import parameter, scaled, with_parameter
from demo_site_uploads.simulator.c3d_writer import parameter_at
from demo_site_uploads.simulator.labs import Recording
from demo_site_uploads.simulator.trial import SimulatedTrial

Fault = Callable[[Recording, SimulatedTrial], Recording]
BytesFault = Callable[[bytes], bytes]


def marker_rate_halved(recording: Recording, trial: SimulatedTrial) -> Recording:
    """The cameras were left at half their rate."""
    return replace(recording, points=recording.points[::2], point_rate_hz=recording.point_rate_hz / 2)


def force_rate_halved(recording: Recording, trial: SimulatedTrial) -> Recording:
    """The converter was left at half its rate."""
    return replace(recording, analog=recording.analog[::2], analog_rate_hz=recording.analog_rate_hz / 2)


def centimetres_called_millimetres(recording: Recording, trial: SimulatedTrial) -> Recording:
    """The positions were exported in centimetres; the file still says mm."""
    return replace(recording, points=recording.points / 10)


def label_missing(label: str) -> Fault:
    """One marker was never named."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        return replace(recording, labels=tuple("unnamed_7" if x == label else x for x in recording.labels))

    return plant


def plate_not_zeroed(label: str, newtons: float) -> Fault:
    """The amplifier was not zeroed: a channel reads ``newtons`` too much from start to end."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        analog = recording.analog.copy()
        analog[:, recording.column(label)] += newtons
        return replace(recording, analog=analog)

    return plant


def channels_scaled(prefix: str, factor: float) -> Fault:
    """All channels whose label begins with ``prefix`` were multiplied: wrong gain, or -1 for a turned polarity."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        hit = np.array([label.startswith(prefix) for label in recording.analog_labels])
        return replace(recording, analog=recording.analog * np.where(hit, factor, 1.0))

    return plant


def plate_warming_up(label: str, newtons: float) -> Fault:
    """The plate was switched on just before: a channel's zero drifts by ``newtons`` from start to end."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        analog = recording.analog.copy()
        analog[:, recording.column(label)] += np.linspace(0, newtons, len(analog))
        return replace(recording, analog=analog)

    return plant


def amplifier_saturated(label: str, limit: float) -> Fault:
    """The amplifier's gain was too high: the channel sticks at ``limit`` of the file's unit on either side."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        analog = recording.analog.copy()
        column = recording.column(label)
        analog[:, column] = np.clip(4 * analog[:, column], -limit, limit)
        return replace(recording, analog=analog)

    return plant


def transmitters_late(part: str, late_s: float) -> Fault:
    """The channels whose label holds ``part`` come by radio, and nobody took off how long that takes."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        analog, count = recording.analog.copy(), round(late_s * recording.analog_rate_hz)
        for label in recording.analog_labels:
            if part in label:
                analog[:, recording.column(label)] = np.roll(analog[:, recording.column(label)], count)
        return replace(recording, analog=analog)

    return plant


def range_too_small(label: str, newtons: float) -> Fault:
    """The converter's range ends below the peaks: everything above is cut off."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        full_scale = recording.full_scale.copy()
        full_scale[recording.column(label)] = newtons
        return replace(recording, full_scale=full_scale)

    return plant


def marker_hidden(label: str, start_s: float, length_s: float) -> Fault:
    """No camera saw the marker for a while."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        points = recording.points.copy()
        first, last = (round(t * recording.point_rate_hz) for t in (start_s, start_s + length_s))
        points[first:last, recording.marker(label)] = np.nan
        return replace(recording, points=points)

    return plant


def labels_exchanged(pairs: tuple[tuple[str, str], ...], start_s: float, length_s: float) -> Fault:
    """Two labels change places for a while: the labelling went wrong where two markers came close."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        points = recording.points.copy()
        first, last = (round(t * recording.point_rate_hz) for t in (start_s, start_s + length_s))
        for one, other in pairs:
            a, b = recording.marker(one), recording.marker(other)
            points[first:last, [a, b]] = points[first:last, [b, a]]
        return replace(recording, points=points)

    return plant


def sides_exchanged(left: str, right: str) -> Fault:
    """Every left marker carries the right one's label and the other way round, all the time."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        turn = {label: label.replace(left, right) for label in recording.labels if left in label}
        turn |= {new: old for old, new in turn.items()}
        return replace(recording, labels=tuple(turn.get(label, label) for label in recording.labels))

    return plant


def reflection_taken_for(label: str, at_s: float, millimetres: float) -> Fault:
    """In one frame a reflection was taken for the marker."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        points = recording.points.copy()
        points[round(at_s * recording.point_rate_hz), recording.marker(label)] += millimetres / np.sqrt(3)
        return replace(recording, points=points)

    return plant


def weight_shifted(millimetres: float) -> Fault:
    """The runner shifts sideways in the middle of the standing trial."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        share = np.linspace(-1, 2, len(recording.points)).clip(0, 1)
        shift = millimetres * (1 - np.cos(np.pi * share)) / 2
        return replace(recording, points=recording.points + shift[:, None, None] * np.array([1.0, 0.0, 0.0]))

    return plant


def frame_knocked(label: str, newtons: float, width_s: float = 0.04) -> Fault:
    """Something struck the treadmill's frame in the middle of one contact."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        struck = [f for f in trial.footfalls if f.contact_s > 0.5][1]
        middle = struck.contact_s + 0.45 * (struck.toe_off_s - struck.contact_s)
        phase = (np.arange(len(recording.analog)) / recording.analog_rate_hz - middle) / (width_s / 2)
        blow = np.where(np.abs(phase) < 1, newtons / 2 * (1 + np.cos(np.pi * phase)), 0.0)
        analog = recording.analog.copy()
        analog[:, recording.column(label)] -= blow  # the plate's z axis points down
        return replace(recording, analog=analog)

    return plant


def plate_tilted(along: str, vertical: str, share: float) -> Fault:
    """The plate is not level: a share of the vertical force shows in the fore-aft channel."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        analog = recording.analog.copy()
        analog[:, recording.column(along)] += share * analog[:, recording.column(vertical)]
        return replace(recording, analog=analog)

    return plant


def played_at_another_speed(stretch: float, scale: float = 1.0) -> Fault:
    """The recording was resampled to ``stretch`` times its frames, which the file plays at the usual rate, and scaled."""

    def resampled(values: np.ndarray) -> np.ndarray:
        places = np.linspace(0, len(values) - 1, round(stretch * len(values)))
        below = np.minimum(places.astype(int), len(values) - 2)
        share = (places - below).reshape(-1, *[1] * (values.ndim - 1))
        return np.asarray(values[below] * (1 - share) + values[below + 1] * share)

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        points = resampled(recording.points) * scale
        per_frame = len(recording.analog) // len(recording.points)
        analog = resampled(recording.analog)
        whole = min(len(points), len(analog) // per_frame)
        return replace(recording, points=points[:whole], analog=analog[: whole * per_frame])

    return plant


def labelled_twice(label: str, away: float) -> Fault:
    """A second marker, ``away`` from the first along each axis in the file's unit, was given the same label."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        second = recording.points[:, [recording.marker(label)]] + away
        points = np.concatenate([recording.points, second], axis=1)
        return replace(recording, labels=(*recording.labels, label), points=points)

    return plant


def zeros_for_gaps(labels: tuple[str, ...], start_s: float, length_s: float) -> Fault:
    """No camera saw these markers for a while, and the export wrote zeros that count as measured."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        points = recording.points.copy()
        first, last = (round(t * recording.point_rate_hz) for t in (start_s, start_s + length_s))
        points[first:last, [recording.marker(label) for label in labels]] = 0.0
        return replace(recording, points=points)

    return plant


def together(*faults: Fault) -> Fault:
    """Several faults in one recording."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        for fault in faults:
            recording = fault(recording, trial)
        return recording

    return plant


def scale_copied_wrongly(content: bytes) -> bytes:
    """A program that rescaled the positions wrote the new scale into POINT:SCALE and left the header's as it was."""
    return scaled(content, "POINT", "SCALE", 1.08)


def plate_not_counted(content: bytes) -> bytes:
    """The last plate was switched off by counting one less; everything else still describes it."""
    (used,) = parameter(content, "FORCE_PLATFORM", "USED")
    return with_parameter(content, "FORCE_PLATFORM", "USED", [used - 1])


def cut_short(content: bytes) -> bytes:
    """The copy was interrupted: the last four tenths of the file are missing."""
    return content[: len(content) * 6 // 10]


def frame_count_wrong(content: bytes) -> bytes:
    """POINT:FRAMES still counts ten frames that were cut off before the export."""
    place, size, _ = parameter_at(content, "POINT", "FRAMES")
    form = {2: "<h", 4: "<f"}[size]
    (frames,) = struct.unpack_from(form, content, place)
    return content[:place] + struct.pack(form, frames + 10) + content[place + size :]


def name_in_the_note(content: bytes) -> bytes:
    """The recording program wrote the runner's name, an invented one, into the file."""
    return content.replace(b"No person was measured.", b"Runner: Nora Fellsider.")
