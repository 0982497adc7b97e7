"""Planted faults of the markers: labels that stay exchanged, frames that were not measured, spaces that are not the
study's. Each has a size; see ``faults`` for what a fault is and for those that come and go.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from demo_site_uploads.simulator.faults import Fault
from demo_site_uploads.simulator.labs import Recording, lab
from demo_site_uploads.simulator.trial import SimulatedTrial, random_source

FloatArray = NDArray[np.float64]


def all_of(*faults: Fault) -> Fault:
    """Several faults in one recording, one after the other."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        for fault in faults:
            recording = fault(recording, trial)
        return recording

    return plant


def _on_points(change: Callable[[FloatArray, Recording, SimulatedTrial], None]) -> Fault:
    """A fault that writes into a copy of the points."""

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        points = recording.points.copy()
        change(points, recording, trial)
        return replace(recording, points=points)

    return plant


def _units(recording: Recording, millimetres: float) -> float:
    """A length in the file's unit."""
    return millimetres * {"mm": 1.0, "m": 0.001}[recording.point_unit]


# --- labels and places -----------------------------------------------------------------------------------------------


def labels_exchanged_throughout(one: str, other: str) -> Fault:
    """Two labels are exchanged in every frame: nothing jumps."""

    def change(points: FloatArray, recording: Recording, trial: SimulatedTrial) -> None:
        a, b = recording.marker(one), recording.marker(other)
        points[:, [a, b]] = points[:, [b, a]]

    return _on_points(change)


def moved_towards(label: str, other: str, millimetres: float) -> Fault:
    """The marker was knocked off and stuck on again nearer to another one of its segment."""

    def change(points: FloatArray, recording: Recording, trial: SimulatedTrial) -> None:
        own = recording.marker(label)
        line = points[:, recording.marker(other)] - points[:, own]
        points[:, own] += line / np.linalg.norm(line, axis=1, keepdims=True) * _units(recording, millimetres)

    return _on_points(change)


def one_ball_with_two_labels(label: str, also: str) -> Fault:
    """The ball called ``also`` carries ``label`` too; the ball of ``label`` was not seen."""

    def change(points: FloatArray, recording: Recording, trial: SimulatedTrial) -> None:
        points[:, recording.marker(label)] = points[:, recording.marker(also)]

    return _on_points(change)


# --- frames ----------------------------------------------------------------------------------------------------------


def position_held(label: str, contact: int, length_s: float) -> Fault:
    """A gap while the foot lies flat was filled with the last position. contact: which of the trial's, from 0."""

    def change(points: FloatArray, recording: Recording, trial: SimulatedTrial) -> None:
        flat_s = trial.footfalls[contact].contact_s + 0.06
        first, last = (round(t * recording.point_rate_hz) for t in (flat_s, flat_s + length_s))
        points[first : last + 1, recording.marker(label)] = points[first, recording.marker(label)]

    return _on_points(change)


def frames_repeated(every: int, slowest_mm: float = 25.0) -> Fault:
    """Lost frames were replaced by copies: in every ``every`` frames the slowest one, if no marker goes further than
    ``slowest_mm`` in it, so that no marker is seen to jump."""

    def change(points: FloatArray, recording: Recording, trial: SimulatedTrial) -> None:
        steps = np.linalg.norm(np.diff(points, axis=0), axis=2)
        longest = np.nanmax(np.where(np.isfinite(steps), steps, 0.0), axis=1)
        for start in range(1, len(longest) - every, every):
            frame = start + int(np.argmin(longest[start : start + every])) + 1
            if longest[frame - 1] < _units(recording, slowest_mm):
                points[frame] = points[frame - 1]

    return _on_points(change)


def frames_drawn_between(factor: int) -> Fault:
    """The cameras ran at the stated rate divided by ``factor``; the export drew lines between their frames."""

    def change(points: FloatArray, recording: Recording, trial: SimulatedTrial) -> None:
        frames = np.arange(len(points))
        taken = np.union1d(frames[::factor], frames[-1:])
        flat = points.reshape(len(points), -1)
        points[:] = np.stack([np.interp(frames, taken, column[taken]) for column in flat.T], axis=1).reshape(
            points.shape
        )

    return _on_points(change)


def comes_and_goes(label: str, gap_frames: int, island_frames: int, times: int) -> Fault:
    """The marker is lost, and found for an instant ``times`` times before it is seen again."""

    def change(points: FloatArray, recording: Recording, trial: SimulatedTrial) -> None:
        start = 5
        for _ in range(times + 1):
            points[start : start + gap_frames, recording.marker(label)] = np.nan
            start += gap_frames + island_frames

    return _on_points(change)


def hidden_at_contacts(labels: dict[str, str], around_s: float) -> Fault:
    """The foot's marker is hidden at every contact, by the rail or the other leg. labels: side -> label."""

    def change(points: FloatArray, recording: Recording, trial: SimulatedTrial) -> None:
        for footfall in trial.footfalls:
            if footfall.side in labels:
                ends = (footfall.contact_s - around_s, footfall.contact_s + around_s)
                first, last = (max(0, round(t * recording.point_rate_hz)) for t in ends)
                points[first : last + 1, recording.marker(labels[footfall.side])] = np.nan

    return _on_points(change)


def noise_added(millimetres: float) -> Fault:
    """Cameras out of calibration: every position trembles with this standard deviation."""

    def change(points: FloatArray, recording: Recording, trial: SimulatedTrial) -> None:
        rng = random_source(trial.trial_id + "/noise")
        points += _units(recording, millimetres) * rng.standard_normal(points.shape)

    return _on_points(change)


# --- space -----------------------------------------------------------------------------------------------------------


def axis_turned_round(site: str, towards: str) -> Fault:
    """One axis of the export points the other way, so that the runner is seen in a mirror. towards: forward or right."""
    axis = "xyz".index(getattr(lab(site).profile.axes, towards)[1])

    def change(points: FloatArray, recording: Recording, trial: SimulatedTrial) -> None:
        points[:, :, axis] *= -1

    return _on_points(change)


def turned_about_the_vertical(site: str, degrees: float) -> Fault:
    """The laboratory was calibrated anew with its axes turned: markers and plates together."""
    a = np.radians(degrees)
    study = np.array([[np.cos(a), 0, -np.sin(a)], [0, 1, 0], [np.sin(a), 0, np.cos(a)]])
    to_lab = lab(site).to_lab
    turn = to_lab.T @ study @ to_lab

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        corners = tuple(c @ turn for c in recording.corners)
        return replace(recording, points=recording.points @ turn, corners=corners)

    return plant


def leg_raised(site: str, millimetres: float, *labels: str) -> Fault:
    """One foot stands on an edge: all markers of that leg are higher."""
    up = np.array([0.0, 1.0, 0.0]) @ lab(site).to_lab

    def change(points: FloatArray, recording: Recording, trial: SimulatedTrial) -> None:
        which = [recording.marker(label) for label in labels]
        points[:, which] += up * _units(recording, millimetres)

    return _on_points(change)


def plates_lowered(site: str, millimetres: float) -> Fault:
    """The heights of the plates' corners were entered from a drawing with another zero."""
    up = np.array([0.0, 1.0, 0.0]) @ lab(site).to_lab

    def plant(recording: Recording, trial: SimulatedTrial) -> Recording:
        return replace(recording, corners=tuple(c - up * millimetres for c in recording.corners))

    return plant


def calibrated_with_the_wrong_wand(factor: float) -> Fault:
    """Every length is ``factor`` times what it was."""

    def change(points: FloatArray, recording: Recording, trial: SimulatedTrial) -> None:
        points *= factor

    return _on_points(change)


def knees_bent(site: str, degrees: float) -> Fault:
    """The runner had not yet straightened up: both knees bent, the shank leaning forward as much as the thigh back."""
    profile = lab(site).profile
    forward, up = (np.array(axis) @ lab(site).to_lab for axis in ([1.0, 0, 0], [0, 1.0, 0]))
    a = np.radians(degrees / 2)

    def leaning(line: FloatArray, angle: float) -> FloatArray:
        """A line turned forwards by an angle, its sideways part kept."""
        x, y = line @ forward, line @ up
        turned_x, turned_y = x * np.cos(angle) + y * np.sin(angle), -x * np.sin(angle) + y * np.cos(angle)
        return line + np.outer(turned_x - x, forward) + np.outer(turned_y - y, up)

    def change(points: FloatArray, recording: Recording, trial: SimulatedTrial) -> None:
        sunk = []
        for side in ("left", "right"):
            parts = ("greater_trochanter", "lateral_femoral_epicondyle", "lateral_malleolus")
            hip, knee, ankle = (recording.marker(profile.markers[f"{part}_{side}"]) for part in parts)
            thigh, shank = points[:, hip] - points[:, knee], points[:, knee] - points[:, ankle]
            before = points[:, hip].copy()
            points[:, knee] = points[:, ankle] + leaning(shank, a)
            points[:, hip] = points[:, knee] + leaning(thigh, -a)
            sunk.append(points[:, hip] - before)
        points[:, recording.marker(profile.markers["sacrum"])] += np.mean(sunk, axis=0)

    return _on_points(change)
