"""Words of the trade that pages and docs use, each with a plain gloss and the words that mean the same here.

Glosses are common usage in the field; where a definition is computed, the table of the outcome has its formula and
source.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Term:
    """One word. term: the trade's own; gloss: in plain words; also: other words for it; names: tables and columns.

    names: ``table`` or ``table.column`` that hold it.
    """

    term: str
    gloss: str
    also: str = ""
    names: tuple[str, ...] = ()


#: In alphabetical order.
TERMS = (
    Term(
        "Active peak",
        "The highest vertical force of the middle of stance, when the leg pushes the body up; as a rule 2 to 3 body "
        "weights.",
        names=("footfalls.active_peak_bw",),
    ),
    Term(
        "Baseline",
        "What an EMG or force channel shows while nothing happens: a muscle at rest, a plate without a foot on it.",
        "quiet channel; unloaded plate",
    ),
    Term(
        "Centre of pressure",
        "The point on the force plate at which one force would do what the whole sole does.",
        "COP",
    ),
    Term(
        "Co-contraction",
        "Two muscles that move a joint in opposite directions are active at the same time.",
    ),
    Term(
        "Crosstalk",
        "A channel shows what belongs to another: a plate part of its neighbour's force, an electrode part of the next "
        "muscle's signal.",
    ),
    Term("Delivery", "One package that a site sends: a bag of tables and recordings.", "bag, after BagIt"),
    Term(
        "Drift",
        "A reading that should stay the same moves slowly, such as the zero of a force plate within a trial.",
    ),
    Term("Duty factor", "The part of the stride during which a foot is on the ground; below one half in running."),
    Term(
        "ECG contamination",
        "The heart's electrical beat shows in the EMG of a muscle, mostly near the trunk.",
        "the heart's beat in a muscle's signal",
    ),
    Term(
        "EMG (electromyography)",
        "The electrical signal of active muscles, here from electrodes on the skin (surface EMG). It tells when a muscle is "
        "active; how strongly only beside a reference of the same electrode.",
        "muscle signals",
        ("muscle_signals", "muscle_bursts", "muscle_amplitudes", "muscle_references"),
    ),
    Term("Fix sheet", "The page of one returned trial: what was seen, what was expected, a picture, what to do."),
    Term(
        "Foot strike",
        "Which part of the foot lands first: rearfoot, midfoot or forefoot.",
        names=("footfalls.foot_strike_angle_deg", "footfalls.strike_index_percent"),
    ),
    Term(
        "Footfall",
        "One foot on the ground, from contact to toe-off; the row on which most outcomes stand.",
        "step",
        ("footfalls",),
    ),
    Term(
        "Gap filling",
        "Positions are put in where a marker was not seen. A short gap can be filled; the shape of a long one is invented.",
        "marker gaps",
    ),
    Term(
        "Ground reaction force",
        "The force with which the ground answers the foot, as force plates measure it.",
        "force; GRF",
    ),
    Term(
        "Impact peak",
        "A first peak of the vertical force soon after the foot lands; many forefoot strikes show none.",
        names=("footfalls.impact_peak_bw",),
    ),
    Term(
        "Movement artefact",
        "A slow swing in the EMG because electrodes or leads were shaken, mostly by the blow of landing.",
        "the blow of the foot in a muscle's signal",
    ),
    Term(
        "Onset",
        "The moment at which a muscle's EMG rises out of its baseline, given in milliseconds before contact.",
    ),
    Term(
        "Power-line noise",
        "Hum of the mains at 50 or 60 Hz and its multiples in an analog channel.",
        "mains hum",
    ),
    Term(
        "Raw EMG",
        "EMG as it was recorded, neither rectified (folded to one side) nor smoothed.",
    ),
    Term(
        "Reference contraction",
        "A recording of one muscle at a known effort, by which its EMG amplitudes are divided.",
        "MVC where the effort is the greatest possible",
    ),
    Term("Site", "A laboratory that takes part in the study and sends deliveries.", "laboratory"),
    Term(
        "Stance",
        "The time a foot is on the ground, from contact to toe-off.",
        "contact; contact time is its length",
    ),
    Term(
        "Static calibration trial",
        "The runner stands still, so that segment lengths, the neutral posture and the markers' places are known.",
        "standing trial (kind: standing in trials.csv)",
    ),
    Term("Stride", "From one contact of a foot to the next contact of the same foot.", "two steps"),
    Term(
        "Vertical average loading rate",
        "How fast the vertical force rises after landing: the mean slope over a fixed part of the rise, in body weights per "
        "second.",
        "VALR",
        ("footfalls.average_loading_rate_bw_per_s",),
    ),
    Term(
        "Vertical instantaneous loading rate",
        "The steepest slope of the vertical force over the same part of the rise.",
        "VILR",
        ("footfalls.instantaneous_loading_rate_bw_per_s",),
    ),
)
