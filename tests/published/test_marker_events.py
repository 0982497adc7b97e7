"""Events from foot markers alone against force, on a real run, with published bounds for such methods.

Milner & Paquette 2015 (J Biomech 48:3502, abstract): a marker method found foot contact with a random error of 7
frames at 200 Hz (35 ms) and an offset of 3 frames. Handsaker et al. 2016 (J Biomech 49:4128, abstract), whose method
this is: contact within -11.8 to +18.1 ms and toe-off within -8.1 to +12.2 ms of force for 95 % of footfalls; not used
as a bound here, since that method had a marker on the hallux and on the first metatarsal head.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from pipelines.science.events.agreement import event_agreement
from pipelines.science.events.from_markers import marker_contacts
from pipelines.science.signals.measures import exchanged_back, exchanges
from schemas.processing import Processing
from tests.as_frames import contacts_by_method, contacts_of
from tests.published.force_of_the_real_run import needs_real_run, real_run, recorded_markers, truth

pytestmark = needs_real_run

RATE = 150.0
WIDEST_S = 7 / 200
LABELS = {
    "calcaneus_left": "LCAL",
    "calcaneus_right": "RCAL",
    "second_metatarsal_head_left": "LTOE",
    "second_metatarsal_head_right": "RTOE",
    "fifth_metatarsal_head_left": "LMT5",
    "fifth_metatarsal_head_right": "RMT5",
}


def markers() -> dict[str, np.ndarray]:
    """The recording's foot markers with its two exchanged labels put right, as ``truth.json`` does."""
    recorded = recorded_markers(LABELS)
    return exchanged_back(recorded, exchanges(recorded, 0.015))


def found_contacts(**settings: Any) -> dict[str, tuple[float, float]]:
    processing = Processing.model_validate({"marker_events": settings})
    contacts = marker_contacts(markers(), RATE, processing)
    assert [side for side, _ in contacts] == ["right", "left"]
    return {side: (contact.start_s, contact.end_s) for side, contact in contacts}


@pytest.mark.parametrize("cutoff_hz", [15.0, 20.0, 25.0, 30.0, 50.0])
def test_both_contacts_are_found_within_the_published_random_error_of_such_methods(cutoff_hz: float) -> None:
    found = found_contacts(cutoff_hz=cutoff_hz)
    for known in truth()["contacts"]:
        start, end = found[known["side"]]
        assert abs(start - known["contact_start_s"]) < WIDEST_S
        assert abs(end - known["contact_end_s"]) < WIDEST_S


@pytest.mark.parametrize(("toe_off", "latest_s"), [("jerk", 2 / RATE), ("rise", 0.025)])
def test_contact_is_late_and_toe_off_near_by_as_measured(toe_off: str, latest_s: float) -> None:
    """Measured here, 2 footfalls: contact 9 and 20 ms late (at most 3 frames of 150 Hz), toe-off +2 and -12 ms by jerk,
    +3 and +23 ms by the rise of the front."""
    found = found_contacts(toe_off=toe_off)
    for known in truth()["contacts"]:
        start, end = found[known["side"]]
        assert 0 <= start - known["contact_start_s"] <= 3 / RATE + 1e-3
        assert abs(end - known["contact_end_s"]) <= latest_s


def test_a_contact_without_a_plate_is_not_made_up_at_the_end_of_the_record() -> None:
    """The right foot lands again near 0.76 s and is still down when the record ends at 0.82 s."""
    assert max(end for _, end in found_contacts().values()) < 0.75


def test_agreement_of_markers_with_force_is_told_per_side_and_event() -> None:
    rows = event_agreement("R1", contacts_by_method(real_run(markers()), Processing()))
    assert {(r["side"], r["event"]) for r in rows} == {
        (side, event) for side in ("left", "right") for event in ("contact", "toe_off")
    }
    assert all(r["event_method"] == "markers" and r["reference_method"] == "force" for r in rows)
    assert all(r["pair_count"] == 1 and abs(r["bias_s"]) < WIDEST_S and r["lower_limit_s"] is None for r in rows)


def test_the_same_recording_without_its_plates_gives_its_contacts_from_markers() -> None:
    from dataclasses import replace

    contacts = contacts_of(replace(real_run(markers()), plates=()), Processing())
    assert [(side, method) for side, _, method in contacts] == [("right", "markers"), ("left", "markers")]
