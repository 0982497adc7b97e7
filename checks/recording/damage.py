"""Whether the numbers of a recording are the ones that were written: not displaced, not overwritten.

What a file says of itself is for ``checks.self_description``; a file whose header agrees with its size may still hold
its samples a few bytes beside their places. Everything else that is then seen in the trial follows from it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np

from checks.evidence import Panel, Picture
from checks.recording import shown
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.signals import measures as signals
from pipelines.science.signals.measures import BoolArray
from pipelines.science.signals.middle import of_columns
from schemas.trial import FORWARD, RIGHT, UP, FloatArray, Trial

_FEWEST_MARKERS, _FEWEST_FRAMES = 6, 20
#: Parts of the trial that are looked at one by one, so that damage from some place on is seen.
_PARTS = 10
_AXES = {FORWARD: "ahead", UP: "upwards", RIGHT: "sideways"}
#: m; own choice, far outside what any wrong unit makes of a laboratory.
ABSURD_M = (1e-9, 1e6)
#: Own choice: of 4-byte numbers made of the wrong bytes, four of five are absurd.
ABSURD_SHARE = 0.02
#: m; own choice: what markers in a laboratory lie apart, at least and at most.
LABORATORY_M = (0.1, 50.0)
#: Own choice, of the body's size: a marker that trembles by less has noise, not other numbers.
_LEAST_WAY = 0.2
#: Own choice: skin moves the markers of a forefoot, 6 cm apart, by less than 1 cm against each other.
_ELASTIC = 0.5
_FEWEST_SEGMENTS = 4
_MOST_TOLD = 5
#: Own choice: muscles are rough either way, forces and switches are smooth in the right one.
_FEWEST_SMOOTH, _SMOOTHER = 4, 3


@dataclass(frozen=True)
class _Damage:
    """Why points are not those of a body, in words, and what proves it."""

    words: str
    proof: tuple[Panel, ...]


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="{since} the numbers in the file {what}.",
    expected="Every block of the file holds what was recorded, each number in its place. Markers on a person are "
    "spread in all three directions, no direction by less than {flat_fraction:g} of the next, and move from frame to "
    "frame by little of the way they go.",
    remedy="The samples were displaced or overwritten after they were recorded, as by a copy in text mode, a broken "
    "transfer or a fault of the export. Export the trial again from the original recording, and copy it in binary "
    "mode. Change no label, axis or unit because of anything else that is said of this trial.",
    words=("since", "what"),
    limits={
        "flat_fraction": Limit("1", "common practice: a person is a quarter as wide as tall, a displaced column is 0"),
        "restless_fraction": Limit(
            "1", "Von Neumann 1941: 1 for numbers without order; a run at 100 frames a second has less than 0.1"
        ),
        "share": Limit("1", "own choice: one or two markers may have faults of their own, half of them have not"),
    },
)
def samples_stand_in_their_places(
    trial: Trial, *, flat_fraction: float = 0.05, restless_fraction: float = 0.3, share: float = 0.5
) -> Looked:
    """Samples stand where the file says, so that positions are positions.

    Displaced by a byte or two they still are numbers, and every check that looks at them sees another fault: axes,
    units, labels and plates that all are right at the site.
    """
    if in_file := list(_in_file(trial)):
        return looked(max(1, len(trial.markers)), in_file)
    frames = max((len(path) for path in trial.markers.values()), default=0)
    paths = {role: path for role, path in trial.markers.items() if len(path) == frames and np.isfinite(path).any()}
    if len(paths) < _FEWEST_MARKERS or frames < _FEWEST_FRAMES:
        return nothing("too few markers or frames to know a body by")
    points, apart = np.stack(list(paths.values()), axis=1), _segments(paths)
    parts = np.array_split(np.arange(frames), min(_PARTS, frames // _FEWEST_FRAMES))
    spans = [slice(int(part[0]), int(part[-1]) + 1) for part in parts]
    told = [_not_a_body(points[span], apart[span], flat_fraction, restless_fraction, share) for span in spans]
    first = _first_damaged(told)
    if first is None:
        return looked(len(paths))
    frame, rate, damage = spans[first].start, trial.marker_rate_hz or 1.0, told[first]
    assert damage is not None, "the first damaged part is damaged"
    fault = {
        "since": f"From about frame {frame + 1} on" if first else "From the first frame on",
        "what": f"are no positions of a body: {damage.words}",
        "place": "samples",
        "moment_s": frame / rate,
        "shows": Picture(damage.proof),
    }
    return looked(len(paths), [fault])


def _in_file(trial: Trial) -> Iterator[dict[str, Any]]:
    """What the bytes of the file show, whatever is in them: what was lost, and what stands in another's place."""
    if trial.facts.description is None:
        return
    samples, read = trial.facts.description.samples, trial.facts.description.read_as
    rate = read.point_rate_hz
    for lost in samples.blank[:_MOST_TOLD]:
        frames = f"frame {lost.first}" if lost.first == lost.last else f"frames {lost.first} to {lost.last}"
        what = (
            f"were lost: {lost.bytes} bytes from byte {lost.first_byte} on, whole blocks of a disk, hold nothing but "
            f"the byte {lost.filling}, where {lost.numbers} numbers should stand"
        )
        yield {"since": f"In {frames}", "what": what, "place": f"samples, frame {lost.first}"} | _at(lost.first, rate)
    if samples.filled_up:
        many = "the last frame" if samples.filled_up == 1 else f"the last {samples.filled_up} frames"
        what = "are all 0, positions and analog samples alike: the file was filled up, so that as many were lost before"
        yield {"since": f"In {many}", "what": what, "place": "samples, end"} | _at(read.frames, rate)
    if samples.displaced is not None:
        frame, points = samples.displaced
        numbers = f"{abs(points)} {'place' if abs(points) == 1 else 'places'}"
        what = (
            f"stand {numbers} of a point too {'early' if points > 0 else 'late'}: every marker goes on where another "
            "one stopped, in the order of the file"
        )
        yield {"since": f"From frame {frame} on", "what": what, "place": "samples"} | _at(frame, rate)
    if samples.smooth_else >= max(_FEWEST_SMOOTH, _SMOOTHER * samples.smooth):
        what = (
            f"of the analog channels stand channel by channel in each frame: so {samples.smooth_else} channels move "
            f"smoothly, and in the order of the format, sample by sample, {samples.smooth}"
        )
        yield {"since": "From the first frame on", "what": what, "place": "samples"} | _at(1, rate)


def _at(frame: int, rate_hz: float) -> dict[str, float]:
    return {"moment_s": (frame - 1) / rate_hz}


def _first_damaged(told: Sequence[_Damage | None]) -> int | None:
    """The part from which on most are damaged; None unless the last is, since nothing moves back by itself."""
    damaged = np.array([one is not None for one in told])
    if damaged.mean() > 0.5:
        return int(np.argmax(damaged))
    if not damaged[-2:].all():
        return None
    sound = np.flatnonzero(~damaged)
    return int(sound[-1]) + 1


def _not_a_body(
    points: FloatArray, apart: FloatArray, flat_fraction: float, restless_fraction: float, share: float
) -> _Damage | None:
    """What shows that points (frames, markers, 3) m are not those of a body; None if nothing does.

    apart: (frames, segments) m, how far the ends of each lie apart.
    """
    seen = points[np.isfinite(points).all(axis=2)]
    if len(seen) < _FEWEST_MARKERS:
        return None
    absurd = (np.abs(seen) > ABSURD_M[1]) | ((np.abs(seen) < ABSURD_M[0]) & (seen != 0))
    if absurd.mean() > ABSURD_SHARE:
        percent = 100 * float(absurd.mean())
        proof = shown.share_of_damaged("Positions beyond any length", percent, 100 * ABSURD_SHARE)
        return _Damage(f"{percent:.0f} % of them are beyond any length (above 1000 km or below a nanometre)", proof)
    low, high = of_columns(seen, 10, 90)  # the first and the last marker may hold other channels
    ranges = high - low
    if not LABORATORY_M[0] < ranges.max() < LABORATORY_M[1]:
        return None  # another unit than the file states, and rounded or cut off by it
    thin, middle, _ = np.sort(ranges)
    if middle > 0 and thin < flat_fraction * middle:
        axis = int(np.argmin(ranges))
        proof = shown.flat(points, axis, float(thin), flat_fraction * float(middle))
        words = f"all markers lie in one plane, {1000 * thin:.3g} mm thick {_AXES[axis]} and {middle:.3g} m wide"
        return _Damage(words, proof)
    restless = _restless(points, float(ranges.max()), restless_fraction)
    if restless.mean() >= share:
        words = f"{int(restless.sum())} of {len(restless)} markers are elsewhere in every frame, without a path"
        proof = shown.share_of_damaged("Markers without a path", 100 * float(restless.mean()), 100 * share)
        return _Damage(words, proof)
    elastic = _elastic(apart)
    if len(elastic) >= _FEWEST_SEGMENTS and elastic.mean() >= share:
        words = f"{int(elastic.sum())} of {len(elastic)} segments change their length by more than half of it"
        title = "Segments that change their length by more than half of it"
        return _Damage(words, shown.share_of_damaged(title, 100 * float(elastic.mean()), 100 * share))
    return None


def _segments(paths: Mapping[str, FloatArray]) -> FloatArray:
    """(frames, segments) m between markers on one bone that are ever seen together."""
    pairs = [*combinations(signals.FOOT, 2), signals.SHANK]
    found = [
        apart
        for side in signals.SIDES
        for one, other in pairs
        if (apart := signals.distance(paths, f"{one}_{side}", f"{other}_{side}")) is not None
    ]
    return np.stack(found, axis=1) if found else np.empty((len(next(iter(paths.values()))), 0))


def _elastic(apart: FloatArray) -> BoolArray:
    """Of each segment that is seen often enough, whether its length changes by half of it and more."""
    often = apart[:, np.isfinite(apart).sum(axis=0) >= _FEWEST_FRAMES // 2]
    low, middle, high = of_columns(often, 5, 50, 95)
    return np.asarray(high - low > _ELASTIC * middle)


def _restless(points: FloatArray, size: float, restless_fraction: float) -> BoolArray:
    """(markers,) whether a marker's path has no order, in ranks so that single huge numbers do not decide."""
    columns = points.reshape(len(points), -1)
    known = np.isfinite(columns)
    low, high = of_columns(columns, 5, 95)
    goes = (known.sum(axis=0) >= _FEWEST_FRAMES // 2) & (high - low >= _LEAST_WAY * size)
    found = np.zeros(columns.shape[1], bool)
    whole = goes & known.all(axis=0)
    found[whole] = _without_order(columns[:, whole], restless_fraction)
    for column in np.flatnonzero(goes & ~whole):
        found[column] = _without_order(columns[known[:, column], column, None], restless_fraction)[0]
    return np.asarray(found.reshape(-1, 3).any(axis=1))


def _without_order(columns: FloatArray, restless_fraction: float) -> BoolArray:
    ranks = columns.argsort(axis=0).argsort(axis=0).astype(np.float64)
    return np.asarray((np.diff(ranks, axis=0) ** 2).mean(axis=0) > restless_fraction * 2 * ranks.var(axis=0))
