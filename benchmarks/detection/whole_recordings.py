"""Faults of a whole recording, as an export, a copy or a profile makes them: each makes many checks speak.

Beside each the checks that name it: what a person who knows the fault would want to read first.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from benchmarks.detection.plants_damage import bytes_late, other_axis_up
from benchmarks.detection.specimens import SITES, Specimen
from demo_site_uploads.simulator.c3d_edit import header_word

PLATES = ("brack", "corrie")


@dataclass(frozen=True)
class Whole:
    """One fault. named_by: the checks that name it."""

    plant: Callable[[Specimen], Specimen]
    named_by: tuple[str, ...]
    sites: tuple[str, ...] = SITES


_CHANCE = np.random.default_rng(0)  # no plant used here asks it
_DAMAGE = ("samples_stand_in_their_places", "file_agrees_with_itself")


def _late(count: int, share: float) -> Callable[[Specimen], Specimen]:
    return lambda own: bytes_late(share)(own, count, _CHANCE)


def _turned(
    order: tuple[int, int, int], signs: tuple[int, int, int], *, plates: bool
) -> Callable[[Specimen], Specimen]:
    return lambda own: other_axis_up(order, signs, plates=plates)(own, 1.0, _CHANCE)


def _scaled(factor: float) -> Callable[[Specimen], Specimen]:
    """Positions of another unit, as finely stored as before."""

    def plant(own: Specimen) -> Specimen:
        return own.with_recording(points=own.recording.points * factor, point_grid=own.recording.point_grid * factor)

    return plant


def _on_plates(change: Callable[[np.ndarray], np.ndarray]) -> Callable[[Specimen], Specimen]:
    def plant(own: Specimen) -> Specimen:
        columns = [c for n in range(1, len(own.recording.plate_types) + 1) for c in own.columns(n)]
        analog = own.recording.analog.copy()
        analog[:, columns] = change(analog[:, columns])
        return own.with_recording(analog=analog)

    return plant


def _channels_moved(by: int) -> Callable[[Specimen], Specimen]:
    return lambda own: own.with_recording(analog=np.roll(own.recording.analog, by, axis=1))


def _late_force(own: Specimen) -> Specimen:
    """All analog channels 100 ms late."""
    analog = own.recording.analog
    late = round(0.1 * own.recording.analog_rate_hz)
    return own.with_recording(analog=np.concatenate([np.repeat(analog[:1], late, axis=0), analog[:-late]]))


def _mirrored(own: Specimen) -> Specimen:
    """Markers of which the first axis has the other sign."""
    return own.with_recording(points=own.recording.points * np.array([-1.0, 1.0, 1.0]))


def _signals_exchanged(own: Specimen) -> Specimen:
    one, other = own.columns(1), own.columns(2)
    analog = own.recording.analog.copy()
    analog[:, [*one, *other]] = analog[:, [*other, *one]]
    return own.with_recording(analog=analog)


def _channel_by_channel(own: Specimen) -> Specimen:
    def write(content: bytes) -> bytes:
        points, analog, samples = (header_word(content, word) for word in (2, 3, 10))
        size = 4 if own.recording.storage == "float" else 2
        start, frame = (header_word(content, 9) - 1) * 512, size * (4 * points + analog)
        count = header_word(content, 5) - header_word(content, 4) + 1
        data = np.frombuffer(content, f"u{size}", count * frame // size, start).reshape(count, -1).copy()
        ours = data[:, 4 * points :].reshape(count, samples, -1).transpose(0, 2, 1)
        data[:, 4 * points :] = ours.reshape(count, -1)
        return content[:start] + data.tobytes() + content[start + count * frame :]

    return replace(own, after_writing=write)


def _point_lost(own: Specimen) -> Specimen:
    """One point of the middle frame is lost, and all that follows comes as much too early."""

    def write(content: bytes) -> bytes:
        point = 16 if own.recording.storage == "float" else 8
        frame = point * header_word(content, 2) + point // 4 * header_word(content, 3)
        start = (header_word(content, 9) - 1) * 512
        at = start + (header_word(content, 5) - header_word(content, 4) + 1) // 2 * frame
        return content[:at] + content[at + point :] + bytes(point)

    return replace(own, after_writing=write)


def _block_lost(own: Specimen) -> Specimen:
    """Four blocks of a disk in the middle of the file hold zeros."""

    def write(content: bytes) -> bytes:
        at = len(content) // 2 // 512 * 512
        return content[:at] + bytes(2048) + content[at + 2048 :]

    return replace(own, after_writing=write)


def _minus_9999(own: Specimen) -> Specimen:
    """Three markers of one leg stand at -9999 for 20 frames."""
    points = own.recording.points.copy()
    millimetre = {"mm": 1.0, "m": 0.001}[own.recording.point_unit]
    markers = [own.recording.marker(own.label(f"{role}_left")) for role in ("calcaneus", "lateral_malleolus")]
    points[60:80, markers] = -9999.0 * millimetre
    if own.recording.storage == "int":  # 16 bits do not reach so far
        points[60:80, markers] = -3000.0 * millimetre
    return own.with_recording(points=points)


def _plates_exchanged(own: Specimen) -> Specimen:
    first, second, *others = own.recording.corners
    return own.with_recording(corners=(second, first, *others))


def _zeros(own: Specimen) -> Specimen:
    assert own.case is not None
    points = own.recording.points.copy()
    points[own.case.chance("zeros").random(points.shape[:2]) < 0.05] = 0.0
    return own.with_recording(points=points)


def _backwards(own: Specimen) -> Specimen:
    return own.with_recording(points=own.recording.points[::-1].copy(), analog=own.recording.analog[::-1].copy())


def _half_the_rate(own: Specimen) -> Specimen:
    recording = own.recording
    return own.with_recording(point_rate_hz=recording.point_rate_hz / 2, analog_rate_hz=recording.analog_rate_hz / 2)


def _header_scale(own: Specimen) -> Specimen:
    from demo_site_uploads.simulator.c3d_edit import with_header_float

    return replace(own, after_writing=lambda content: with_header_float(content, 7, lambda scale: 1.08 * scale))


FAULTS: Mapping[str, Whole] = {
    **{
        f"the samples stand {count} byte{'s' if count > 1 else ''} beside their places{since}": Whole(
            _late(count, share), _DAMAGE
        )
        for count in (1, 2, 4, 16)
        for share, since in ((0.0, ""), (1 / 3, " from a third of the file on"))
    },
    "positions are in centimetres and called millimetres": Whole(_scaled(0.1), ("positions_are_in_the_stated_unit",)),
    "positions are in inches and called millimetres": Whole(_scaled(1 / 25.4), ("positions_are_in_the_stated_unit",)),
    "positions are in metres and called millimetres": Whole(_scaled(0.001), ("positions_are_in_the_stated_unit",)),
    "y and z of the markers are exchanged": Whole(_turned((0, 2, 1), (1, 1, 1), plates=False), ("runner_is_upright",)),
    "x, y and z of the markers are taken for y, z and x": Whole(
        _turned((1, 2, 0), (1, 1, 1), plates=False), ("runner_is_upright",)
    ),
    "markers and plates are upside down": Whole(_turned((0, 1, 2), (1, -1, -1), plates=True), ("runner_is_upright",)),
    "markers and plates are turned half round, where runs go one way": Whole(
        _turned((0, 1, 2), (-1, -1, 1), plates=True), ("runner_runs_forwards",), ("brack", "tarn")
    ),
    "frames and samples run backwards": Whole(_backwards, ("runner_runs_forwards",)),
    "both rates are half of what the profile states": Whole(
        _half_the_rate, ("marker_rate_is_the_sites", "force_rate_is_the_sites")
    ),
    "one marker in twenty is a zero that should be a gap": Whole(_zeros, ("missing_positions_are_marked",)),
    "the header's scale is 8 % too large": Whole(_header_scale, ("file_agrees_with_itself",), ("corrie", "tarn")),
    "all forces have the wrong sign": Whole(_on_plates(lambda a: -a), ("vertical_force_points_up",), PLATES),
    "all forces are ten times too small": Whole(
        _on_plates(lambda a: a / 10), ("mean_vertical_force_is_body_weight", "active_peaks_are_credible"), PLATES
    ),
    "all forces are ten times too large": Whole(
        _on_plates(lambda a: 10 * a), ("mean_vertical_force_is_body_weight", "active_peaks_are_credible"), PLATES
    ),
    "the corners of two plates are exchanged": Whole(
        _plates_exchanged,
        ("force_fits_no_better_elsewhere",),
        ("corrie",),
    ),
    "the signals of two plates are exchanged": Whole(
        _signals_exchanged, ("force_fits_no_better_elsewhere",), ("corrie",)
    ),
    "markers are mirrored, and plates are not": Whole(
        _mirrored,
        ("force_fits_no_better_elsewhere", "coordinates_are_right_handed", "runner_runs_forwards"),
        PLATES,
    ),
    "all analog channels are 100 ms late": Whole(_late_force, ("force_and_markers_share_one_clock",), PLATES),
    "analog samples stand channel by channel in each frame": Whole(_channel_by_channel, _DAMAGE, PLATES),
    "one point is lost in the middle of the file": Whole(_point_lost, _DAMAGE),
    "four blocks of the file are lost": Whole(_block_lost, _DAMAGE),
    "-9999 stands for a gap of two markers": Whole(_minus_9999, ("missing_positions_are_marked",)),
    "every analog channel has the next one's signal": Whole(
        _channels_moved(-1), ("channels_hold_their_own_signals",), PLATES
    ),
    "every analog channel has the signal of the one before": Whole(
        _channels_moved(1), ("channels_hold_their_own_signals",), PLATES
    ),
}
