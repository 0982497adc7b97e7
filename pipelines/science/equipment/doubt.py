"""What the inputs of a trial's outcomes may be off by, as its equipment readings and the study tell.

What that is worth in each outcome is worked out in ``uncertainty`` and, for joints, in
``pipelines.science.joints.doubt``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from pipelines.science.equipment.plates import PlateReading
from pipelines.science.frames import Rows
from schemas.equipment import ALL_PLATES
from schemas.processing import Processing
from schemas.trial import UP

#: Gain and body mass cannot be told apart, and six real runs lay up to 4.5 % below a mass taken on another scale (taken
#: as a rectangular distribution, from 0 to that). Marker positions: 1 mm, common practice for a calibrated volume.
UNSEEN_SCALE, MARKER_M = 0.045, 0.001
#: What nothing in a trial tells, so that it is always doubted (own choices): where a plate lies among the markers and
#: the gain of horizontal force less that of vertical force, by half of what no check sees; how much of vertical force
#: shows in the horizontal channels, the gain of one plate against another's, and the size of the volume, by what
#: laboratories reach with care.
PLATE_PLACE_M, HORIZONTAL_GAIN, CROSSTALK, GAIN_APART, MARKER_SCALE = 0.025, 0.10, 0.01, 0.01, 0.005
#: Where neither mean force nor the pelvis can tell: the limits at which trials go back.
UNKNOWN_SCALE, UNKNOWN_LAG_S = 0.12, 0.03
#: Speed of a belt, as a part of 1: what the feet on it can tell (a foot rolls: in one real run its front went back
#: 0.6 % faster than the belt was set, all of it 1.8 %), and where they tell nothing.
BELT, UNKNOWN_BELT = 0.01, 0.04
RECTANGULAR = 3**-0.5
#: How far markers move against the bone below them, of each coordinate: at the foot and its malleoli by up to 4.3 mm
#: (Tranberg & Karlsson 1998, Clin Biomech 13:71), at thigh and shank by up to 16.1 mm (largest mean of bone pins, in
#: cutting: Benoit et al. 2006, Gait Posture 24:152); taken as bounds of rectangular distributions.
FOOT_SKIN_M, SKIN_M = 0.0043 * RECTANGULAR, 0.0161 * RECTANGULAR
#: Standard error of the median of normal noise over that of its mean, for many samples (first principles).
_OF_A_MEDIAN = (np.pi / 2) ** 0.5


@dataclass(frozen=True)
class EventDoubt:
    """Standard uncertainties in s of contacts and toe-offs by another method than force.

    bias: alike in all footfalls of a trial. scatter: of each for itself. clock_s: both against the markers.
    """

    contact_bias_s: float = 0.0
    contact_scatter_s: float = 0.0
    toe_off_bias_s: float = 0.0
    toe_off_scatter_s: float = 0.0
    clock_s: float = 0.0


@dataclass(frozen=True)
class Doubt:
    """Standard uncertainties of the inputs, by plate number or of the whole.

    drift_n: how far a level was seen to wander from start to end. scale: as a part of 1. marker_sits_m,
    marker_shakes_m: of each coordinate of a marker, in a whole trial, and from frame to frame before any filter.
    foot_skin_m, skin_m: of each coordinate of what is below a marker of the foot, or of another; as fast as the runner
    moves, so that no filter takes it, and another at two moments of a contact.
    plates_sit_m: of each horizontal coordinate of a plate among the markers. horizontal_gain, crosstalk, gain_apart,
    marker_scale: as parts of 1.
    """

    level_n: Mapping[int, float]
    drift_n: Mapping[int, float]
    noise_n: Mapping[int, float]
    scale: float
    lag_s: float
    events: EventDoubt = field(default_factory=EventDoubt)
    marker_sits_m: float = MARKER_M
    marker_shakes_m: float = MARKER_M
    foot_skin_m: float = FOOT_SKIN_M
    skin_m: float = SKIN_M
    plates_sit_m: float = PLATE_PLACE_M
    horizontal_gain: float = HORIZONTAL_GAIN
    crosstalk: float = CROSSTALK
    gain_apart: float = GAIN_APART
    marker_scale: float = MARKER_SCALE


def doubt_of(readings: Sequence[PlateReading], equipment: Rows, marker_rate_hz: float) -> Doubt:
    """What the inputs of a trial with force may be off by. equipment: its ``equipment_readings``."""
    by_device = {row["device"]: row for row in equipment.records}
    level, noise = {}, {}
    for reading in readings:
        seen = by_device[f"plate_{reading.number}"]
        vibration = seen["vibration_n"] if np.isfinite(seen["vibration_n"]) else 0.0
        dead = (reading.dead_band_n or 0.0) * RECTANGULAR  # any level below it would have been cut away
        left = _OF_A_MEDIAN * float(reading.noise_n.max()) / reading.samples**0.5
        rounded = reading.step_n / 2 * RECTANGULAR  # JCGM 100:2008, F.2.2.1, from memory: a median lies on a step
        level[reading.number] = float(np.hypot(dead, np.hypot(left, rounded)))
        noise[reading.number] = max(float(reading.noise_n[UP]), vibration)
    whole = by_device[ALL_PLATES]
    scale, lag = whole["scale_ratio"] - 1, whole["lag_s"]
    frame_s = 1 / marker_rate_hz if marker_rate_hz > 0 else 0.0
    return Doubt(
        level,
        {reading.number: 1.5 * reading.drift_n for reading in readings},  # from middle to middle of thirds it is 2/3
        noise,
        _doubt_of_scale(scale) if np.isfinite(scale) else UNKNOWN_SCALE * RECTANGULAR,
        float(np.hypot(lag, np.hypot(whole["lag_uncertainty_s"], frame_s / 2 * RECTANGULAR)))
        if np.isfinite(lag)
        else UNKNOWN_LAG_S * RECTANGULAR,
    )


def _doubt_of_scale(off: float) -> float:
    """Root mean square of what the gain may be off by, ``off`` being what mean force is off body weight.

    With the right gain it would be up to ``UNSEEN_SCALE`` below; so the gain is off by ``off`` to that much more.
    """
    middle = off + UNSEEN_SCALE / 2
    return max(UNSEEN_SCALE * RECTANGULAR, float(np.hypot(middle, UNSEEN_SCALE / 2 * RECTANGULAR)))


def doubt_without_force(method: str, processing: Processing, clock_residual_s: float) -> Doubt:
    """The same of a trial whose events are by ``sensor`` or ``markers``: there is no plate to read anything of.

    clock_residual_s: what the match of a second file's clock leaves; 0 if the sensors are in the trial's own file. Body
    mass is then doubted as far as six real runs were off it.
    """
    own = processing.sensors if method == "sensor" else processing.marker_events
    events = EventDoubt(
        own.contact_bias_s,
        own.contact_scatter_s,
        own.toe_off_bias_s,
        own.toe_off_scatter_s,
        clock_residual_s if method == "sensor" else 0.0,
    )
    return Doubt({}, {}, {}, UNSEEN_SCALE * RECTANGULAR, 0.0, events)
