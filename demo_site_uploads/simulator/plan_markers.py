"""Where the faults of ``faults_markers`` stand: small standing trials of one laboratory, two runs of another.

Sizes are the smallest that a laboratory would meet and that change an outcome; the checks' limits lie below them.
"""

from __future__ import annotations

from demo_site_uploads.simulator import faults_markers as faults
from demo_site_uploads.simulator.delivery import Delivery, PlannedTrial, Session
from demo_site_uploads.simulator.measure import Asked

SHORT = Asked("standing", duration_s=0.2)
STANDING = Asked("standing", duration_s=0.4)
RUN = Asked(duration_s=0.78, muscles=False)  # two contacts; a runway needs one
GAPS = ("leftHip", 6, 3, 4)  # 30 of 80 frames lost, four glimpses of 15 ms
LEFT_LEG = ("leftHeel", "leftToe2", "leftToe5", "leftAnkle", "leftKnee", "leftHip")


def _standing() -> Delivery:
    """Standing trials of one runner, each with faults of its own."""
    one = Session("FS-16", "week_5", "tarn")
    careless = faults.all_of(
        faults.noise_added(2.0),  # eight times a good camera system
        faults.moved_towards("rightKnee", "rightAnkle", 60.0),  # beside the landmark by the width of a knee cap
        faults.comes_and_goes(*GAPS),
    )
    trials = (
        PlannedTrial(one, "cushioned", "standing", SHORT, faults.axis_turned_round("tarn", "forward")),
        PlannedTrial(one, "cushioned", "standing-2", SHORT, faults.knees_bent("tarn", 35.0)),
        PlannedTrial(one, "cushioned", "standing-3", SHORT, faults.leg_raised("tarn", 45.0, *LEFT_LEG)),
        PlannedTrial(one, "thin_soled", "standing", SHORT, faults.labels_exchanged_throughout("leftToe2", "leftToe5")),
        PlannedTrial(
            one, "thin_soled", "standing-2", SHORT, faults.labels_exchanged_throughout("rightHeel", "rightToe2")
        ),
        PlannedTrial(
            one, "thin_soled", "standing-3", SHORT, faults.labels_exchanged_throughout("leftKnee", "leftAnkle")
        ),
        PlannedTrial(one, "unshod", "standing", STANDING, careless),
        PlannedTrial(one, "unshod", "standing-2", SHORT, faults.calibrated_with_the_wrong_wand(0.87)),
    )
    return Delivery("tarn", "tarn-011.zip", "tarn", 11, trials)


def _running() -> Delivery:
    """Two runs: what labelling and the cameras do to markers, and what the export and a new calibration do."""
    one = Session("FS-13", "week_5", "corrie")
    labelled = faults.all_of(
        faults.moved_towards("heel-right", "toe2-right", 20.0),  # 5 mm more than a shoe lets a foot marker wander
        faults.one_ball_with_two_labels("pelvis-left", "pelvis-right"),
        faults.frames_repeated(25),  # a camera link that loses four frames in a hundred
        faults.position_held("toe5-left", 0, 0.06),
        faults.hidden_at_contacts({"left": "heel-left", "right": "heel-right"}, 0.02),
    )
    exported = faults.all_of(
        faults.frames_drawn_between(2),  # 125 Hz sent as 250 Hz
        faults.plates_lowered("corrie", 100.0),  # counted from the sensors, not from the surface
        faults.turned_about_the_vertical("corrie", -90.0),
    )
    trials = (
        PlannedTrial(one, "cushioned", "standing", SHORT),
        PlannedTrial(one, "cushioned", "1", RUN, labelled),
        PlannedTrial(one, "cushioned", "2", RUN, exported),
    )
    return Delivery("corrie", "corrie-011.zip", "corrie", 11, trials)


def deliveries() -> tuple[Delivery, ...]:
    """The deliveries with planted faults of the markers."""
    return (_standing(), _running())
