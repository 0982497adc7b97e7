"""What the equipment itself showed in each trial: the definition of ``equipment_readings``.

Checks and control charts read from it; what is computed of the runner is in ``outcomes``. Layer: outcome.
"""

from __future__ import annotations

from schemas import fields as f
from schemas.delivery import RECORDED
from schemas.leaving import Leaves
from schemas.model import Field, Kind, Layer, Table
from schemas.outcomes import TO_TRIAL
from schemas.privacy import PLAIN, Privacy

#: The rows about all plates together, about the cameras, and about the clock of a second file.
ALL_PLATES, CAMERAS, SECOND_CLOCK = "all_plates", "cameras", "second_clock"
#: What the name of a cluster of markers stands behind.
CLUSTER = "cluster_"


def _read(name: str, unit: str, description: str, low: float | None = None, privacy: Privacy = PLAIN) -> Field:
    return Field(name, Kind.REAL, description, unit=unit, low=low, nullable=True, privacy=privacy)


EQUIPMENT_READINGS = Table(
    name="equipment_readings",
    layer=Layer.OUTCOME,
    one_row_is="one device in one trial: a force plate, all plates, a cluster of markers, a second clock; the cameras",
    key=("trial_id", "device"),
    rows=RECORDED,
    leaves=Leaves(
        "trial_id device unloaded_samples level_was_taken_off vibration_hz scale_ratio lag_s "
        "lag_uncertainty_s misfit_m marker_scale_ratio clock_offset_s clock_drift_ppm clock_drift_error_ppm "
        "clock_residual_s delivery_id raw_sha256 code_version study_version"
    ),
    fields=(
        f.TRIAL_ID,
        Field(
            "device",
            Kind.IDENTIFIER,
            "Of running trials plate_1 and so on, all_plates, cluster_ and its name, second_clock; of standing ones cameras.",
            privacy=PLAIN,
        ),
        Field(
            "unloaded_samples",
            Kind.INTEGER,
            "Samples with nobody on the plate that were looked at: the middle half of each flight.",
            low=0,
            nullable=True,
            privacy=PLAIN,
        ),
        _read("level_n", "N", "What the plate reads vertically with nobody on it (median). Null for all_plates."),
        _read("level_fore_aft_n", "N", "The same, fore-aft."),
        _read("level_sideways_n", "N", "The same, sideways."),
        _read("level_nm", "N.m", "Largest of the three moments about the plate's middle with nobody on it.", low=0),
        _read("level_change_n", "N", "Vertical level in the last third of the flights less that in the first."),
        Field(
            "level_was_taken_off",
            Kind.BOOLEAN,
            "Whether outcomes were computed with these levels taken off; a larger level is left and the trial goes back.",
            nullable=True,
            privacy=PLAIN,
        ),
        _read("noise_n", "N", "Standard deviation of vertical force within flights.", low=0),
        _read(
            "dead_band_n",
            "N",
            "Smallest vertical force but zero, where smaller ones were set to zero before the export; else null.",
            low=0,
        ),
        _read(
            "vibration_n",
            "N",
            "Root mean square of vertical force above the cut-off for events, from 20 to 90 % of contacts. Null without a cut-off or contacts.",
            low=0,
        ),
        _read("vibration_hz", "Hz", "Frequency at which that is strongest.", low=0),
        _read("vibration_nm", "N.m", "The same of the moment about the vertical.", low=0),
        _read(
            "scale_ratio",
            "1",
            "Mean vertical force over whole strides divided by body weight; only of all_plates. Null without mass or steps.",
            low=0,
        ),
        _read(
            "lag_s",
            "s",
            "How much later force tells of the same movement than markers do: the delay at which force and the vertical acceleration of the pelvis fit best, both below 8 Hz; only of all_plates. Null without pelvis markers or two contacts in a row.",
        ),
        _read(
            "lag_uncertainty_s",
            "s",
            "Standard uncertainty of that method: 2 ms with markers in front and at the back of the pelvis, 4 ms with one of them.",
            low=0,
        ),
        _read(
            "misfit_m",
            "m",
            "How far the markers of a cluster lie off the shape they have while standing, carried as one rigid body (root mean square, median of the trial).",
            low=0,
        ),
        _read(
            "marker_scale_ratio",
            "1",
            "Of cameras: distance of hip and ankle marker while standing, mean of both legs, divided by leg length by tape. Null without one of them.",
            low=0,
        ),
        _read("clock_offset_s", "s", "Of second_clock: as in clock_fits; null unless the match was accepted."),
        _read("clock_drift_ppm", "[ppm]", "The same."),
        _read("clock_drift_error_ppm", "[ppm]", "The same.", low=0),
        _read("clock_residual_s", "s", "Root mean square of what is left after offset and drift.", low=0),
        *f.PROVENANCE,
    ),
    references=(TO_TRIAL,),
)


def _part(name: str, description: str) -> Field:
    return Field(name, Kind.REAL, description, unit="{unit_of_row}", low=0, nullable=True, privacy=Privacy.SENSITIVE)


OUTCOME_UNCERTAINTIES = Table(
    name="outcome_uncertainties",
    layer=Layer.OUTCOME,
    one_row_is="how far one outcome of a trial's footfalls can be trusted, as its equipment and methods tell",
    key=("trial_id", "outcome"),
    rows=RECORDED,
    fields=(
        f.TRIAL_ID,
        Field(
            "outcome",
            Kind.TEXT,
            "Column of footfalls or trial_outcomes that it is about; of footfall_joints joint, plane and angle_against stand before it, parted by slashes, for example knee/sagittal/segment/angle_peak_deg, as in runner_contrasts.",
            privacy=PLAIN,
        ),
        Field("outcome_unit", Kind.TEXT, "UCUM unit of the outcome and of its uncertainties.", privacy=PLAIN),
        _part(
            "standard_uncertainty_value",
            "Standard uncertainty of the outcome of one footfall, or of the trial's own (coverage factor 1): root of the sum of the squares of its parts.",
        ),
        _part("from_level_value", "What the level that may be left on the plates is worth."),
        _part("from_noise_value", "What noise and vibration of the plates are worth."),
        _part(
            "from_scale_value",
            "What the gain of the plates, that of their horizontal channels by themselves, what these take of vertical force, or a wrong body mass is worth.",
        ),
        _part("from_lag_value", "What a lag between force, or foot sensors, and markers is worth."),
        _part(
            "from_events_value",
            "What the method of finding contact and toe-off is worth; of force, what its filter for events moves them by.",
        ),
        _part(
            "from_markers_value",
            "What errors of marker positions, of their scale, and of the plates' places among the markers are worth.",
        ),
        _part(
            "from_scatter_value",
            "Of trial_outcomes alone: what so few footfalls of such scatter leave; null of others, in which scatter is no part.",
        ),
        Field(
            "footfall_count",
            Kind.INTEGER,
            "Footfalls whose change, with one input off by its own standard uncertainty, was averaged (root mean square); of trial_outcomes the footfalls that the value rests on.",
            low=1,
            privacy=PLAIN,
        ),
        *f.PROVENANCE,
    ),
    references=(TO_TRIAL,),
)
