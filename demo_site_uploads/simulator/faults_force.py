"""Planted faults of force plates, their converter and their trigger; as in ``faults``, each with its size.

Channels are named as in the recording: ``P2.Fz``; a plate is the beginning of its channels' names: ``P2.``.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from demo_site_uploads.simulator.faults import Fault
from demo_site_uploads.simulator.labs import Recording, lab, record
from demo_site_uploads.simulator.trial import FootLoad, SimulatedTrial, random_source

FloatArray = NDArray[np.float64]

HALF_FOOT_M = 0.045  # half the width of a sole under the ball of the foot
CONTACT_N = 20.0


def several(*faults: Fault) -> Fault:
    """Faults that happen in one trial, in this order."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        for fault in faults:
            recording = fault(recording, trial)
        return recording

    return plant


def _vertical_channels(recording: Recording, plate: str) -> list[int]:
    return [i for i, label in enumerate(recording.analog_labels) if label.startswith(f"{plate}Fz")]


def plate_rings(plate: str, newtons: float, hertz: float = 32.0, decay_s: float = 0.05) -> Fault:
    """The plate is loose on its base: it rings when the foot has left it, by ``newtons`` at first."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        analog = recording.analog.copy()
        columns = _vertical_channels(recording, plate)
        loaded = np.abs(analog[:, columns].sum(axis=1)) > CONTACT_N
        for left in np.flatnonzero(np.diff(loaded.astype(int)) == -1):
            since = (np.arange(len(analog)) - left) / recording.analog_rate_hz
            ring = newtons * np.exp(-since / decay_s) * np.sin(2 * np.pi * hertz * since)
            analog[:, columns] += np.where(since > 0, ring, 0.0)[:, None] / len(columns)
        return replace(recording, analog=analog)

    return plant


def spike(label: str, at_s: float, newtons: float) -> Fault:
    """A discharge of static electricity: one sample of one channel is off by ``newtons``."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        analog = recording.analog.copy()
        analog[round(at_s * recording.analog_rate_hz), recording.column(label)] += newtons
        return replace(recording, analog=analog)

    return plant


def packet_repeated(plate: str, at_s: float, length_s: float) -> Fault:
    """The converter lost a packet of the plate, and the program wrote the one before it again."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        analog = recording.analog.copy()
        columns = [i for i, label in enumerate(recording.analog_labels) if label.startswith(plate)]
        first, length = round(at_s * recording.analog_rate_hz), round(length_s * recording.analog_rate_hz)
        analog[first : first + length, columns] = analog[first - length : first, columns]
        return replace(recording, analog=analog)

    return plant


def crosstalk(loaded: str, other: str, share: float) -> Fault:
    """Two cables share a ground: a ``share`` of one plate's vertical force shows in another's."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        analog = recording.analog.copy()
        to = _vertical_channels(recording, other)
        analog[:, to] += share * analog[:, _vertical_channels(recording, loaded)].sum(axis=1)[:, None] / len(to)
        return replace(recording, analog=analog)

    return plant


def cable_wet(plate: str, newtons: float) -> Fault:
    """A wet cable: the plate's vertical force has noise of a standard deviation of ``newtons``."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        analog = recording.analog.copy()
        columns = _vertical_channels(recording, plate)
        noise = random_source(trial.trial_id + "/wet cable").standard_normal(len(analog))
        analog[:, columns] += newtons * noise[:, None] / len(columns)
        return replace(recording, analog=analog)

    return plant


def small_forces_cut(plate: str, newtons: float) -> Fault:
    """The export set every channel to zero while the vertical force was below ``newtons``."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        analog = recording.analog.copy()
        columns = [i for i, label in enumerate(recording.analog_labels) if label.startswith(plate)]
        small = np.abs(analog[:, _vertical_channels(recording, plate)].sum(axis=1)) < newtons
        analog[np.ix_(small, columns)] = 0.0
        return replace(recording, analog=analog)

    return plant


def filtered_before(hertz: float) -> Fault:
    """The export smoothed every analog channel: a fourth-order zero-lag low-pass at ``hertz``."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        from scipy.signal import butter, filtfilt

        b, a = butter(2, 2 * hertz / recording.analog_rate_hz)
        return replace(recording, analog=filtfilt(b, a, recording.analog, axis=0))

    return plant


def channels_exchanged(*pairs: tuple[str, str]) -> Fault:
    """Plugs in each other's sockets: the channels of each pair change places."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        analog = recording.analog.copy()
        for one, other in pairs:
            a, b = recording.column(one), recording.column(other)
            analog[:, [a, b]] = analog[:, [b, a]]
        return replace(recording, analog=analog)

    return plant


def corners_off(number: int, millimetres: tuple[float, float, float]) -> Fault:
    """The corners of plate ``number`` were measured from another mark: they are off, in lab axes."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        corners = list(recording.corners)
        corners[number - 1] = corners[number - 1] + np.array(millimetres)
        return replace(recording, corners=tuple(corners))

    return plant


def converter_late(seconds: float) -> Fault:
    """The trigger's delay is not entered: force begins ``seconds`` after the markers, and the file does not say so."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        frames, samples = round(seconds * recording.point_rate_hz), round(seconds * recording.analog_rate_hz)
        return replace(recording, points=recording.points[:-frames], analog=recording.analog[samples:])

    return plant


def ran_aside(site: str, metres: float) -> Fault:
    """The runner ran ``metres`` to the right of the middle, so that the outer foot is partly beside the plates."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        where = lab(site)
        edge = where.plates[0].half_width
        moved = replace(
            trial,
            markers={role: path + np.array([0.0, 0.0, metres]) for role, path in trial.markers.items()},
            loads=tuple(_cut_at(load, metres, edge) for load in trial.loads),
        )
        return record(moved, where, muscles=False)

    return plant


def _cut_at(load: FootLoad, metres: float, edge: float) -> FootLoad:
    """The load moved to the right; what lies beyond the edge is carried by the floor, the rest acts in its own middle."""
    cop = load.cop + np.array([0.0, 0.0, metres])
    inner, outer = cop[:, 2] - HALF_FOOT_M, np.minimum(cop[:, 2] + HALF_FOOT_M, edge)
    share = np.clip((outer - inner) / (2 * HALF_FOOT_M), 0.0, 1.0)
    cop[:, 2] = np.where(share > 0, (inner + outer) / 2, cop[:, 2])
    return FootLoad(load.side, load.force * share[:, None], cop, load.free_moment * share)
