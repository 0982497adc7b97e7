"""Contacts of a real run against the times worked out from the source's own numbers."""

from __future__ import annotations

import numpy as np
import pytest

from pipelines.science.events.from_force import find_contacts
from schemas.processing import Processing
from tests.as_frames import compute_footfalls
from tests.published.force_of_the_real_run import needs_real_run, real_run, recorded_force, recorded_markers, truth

pytestmark = needs_real_run


@pytest.mark.parametrize("number", [0, 1])
def test_contact_and_toe_off_are_at_the_known_crossings_of_20_newtons(number: int) -> None:
    known = truth()["contacts"][number]
    force = recorded_force(known["side"])
    (contact,) = find_contacts(force[:, 2], 300.0, threshold_n=20.0)
    assert contact.start_s == pytest.approx(known["contact_start_s"], abs=2e-6)
    assert contact.end_s == pytest.approx(known["contact_end_s"], abs=2e-6)
    assert contact.duration_s == pytest.approx(known["contact_time_s"], abs=1e-5)
    assert contact.last - contact.first + 1 == known["samples_at_or_above_threshold"]
    assert force[contact.first, 0] == pytest.approx(known["first_sample_at_or_above_threshold_s"], abs=1e-6)


def test_each_foot_is_told_by_its_markers_and_lands_on_one_plate() -> None:
    # heel and fifth metatarsal: the labels of the right toe and fifth metatarsal are exchanged in a third of the
    # frames of this recording, which must not matter for telling left from right
    labels = {
        "calcaneus_left": "LCAL",
        "calcaneus_right": "RCAL",
        "fifth_metatarsal_head_left": "LMT5",
        "fifth_metatarsal_head_right": "RMT5",
    }
    settings = Processing(forefoot_role="fifth_metatarsal_head")
    footfalls = compute_footfalls(real_run(recorded_markers(labels)), settings, None)
    assert footfalls["side"].tolist() == ["right", "left"] == [c["side"] for c in truth()["contacts"]]
    assert footfalls["plate_count"].tolist() == [1, 1]


def test_the_sum_of_both_plates_gives_the_same_contacts_as_each_alone() -> None:
    both = find_contacts(real_run().force[:, 1], 300.0, threshold_n=20.0, shortest_contact_s=0.08)
    known = [c["contact_start_s"] for c in truth()["contacts"]]
    assert np.array([c.start_s for c in both]) == pytest.approx(known, abs=2e-6)
