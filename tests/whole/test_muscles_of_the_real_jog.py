"""Twelve muscles of one leg of a real jog: nothing is said of them as they are, and faults planted into them are found."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchmarks.onsets.figures import errors
from benchmarks.onsets.made import SHAPES
from benchmarks.onsets.made import real as real_sources
from benchmarks.real_recordings.disturbances import KINDS, found, real
from benchmarks.real_recordings.jog_muscles import NAMES_AND_CLOCKS, SIDE, Fault, context, signals, told
from benchmarks.real_recordings.recordings import there

pytestmark = pytest.mark.skipif(not there(), reason="the real recordings are not on this machine")


def test_no_check_of_muscles_says_anything_of_the_recording_as_it_is() -> None:
    """But for the adductor, whose bursts are as weak as its source says."""
    assert [(f.check_name, f.place) for f in told(signals())] == [
        ("muscle_baselines_are_quiet", "adductor_magnus right")
    ]


def test_muscles_fit_their_own_kind_and_all_but_two_tell_their_leg() -> None:
    """The shin works at contact and early in swing, half a stride apart; the straight thigh muscle mid in swing."""
    work = context(signals()).work
    assert work is not None
    known = {str(p.muscle.signal.muscle): p for p in work.phased_muscles if p.kind is not None}
    assert len(known) == 11
    assert min(p.own for p in known.values()) > 0.55
    unsure = {name for name, p in known.items() if p.own < p.other + 0.5}
    assert unsure == {"tibialis_anterior", "rectus_femoris"}


@pytest.mark.parametrize("fault", NAMES_AND_CLOCKS, ids=lambda fault: fault.what)
def test_a_wrong_name_leg_or_clock_is_found(fault: Fault) -> None:
    found = {finding.check_name for finding in told(fault.planted())}
    assert found & set(fault.finds)


def test_blank_sides_are_proposed_as_the_leg_they_were_recorded_from() -> None:
    found = told(replace(signal, side=None) for signal in signals())
    own = [f for f in found if f.check_name == "muscle_channels_say_muscle_and_side"]
    assert {f.remedy.split(",")[0] for f in own} == {f"Write {SIDE}"}
    assert len(own) == 12
    by_others = {f.place for f in own if "does not tell" in f.seen}
    assert by_others == {"TA", "RF", "AddMagnus"}


@pytest.mark.parametrize(
    ("what", "size", "least"),
    [("mains hum", 10, 10), ("lead swings after contact", 400, 11), ("cut off", 1, 12), ("low-pass", 200, 10)],
)
def test_a_disturbance_is_found_in_most_of_the_twelve_muscles(what: str, size: float, least: int) -> None:
    (kind,) = (kind for kind in KINDS if kind.what == what)
    seen, count = found(kind, size, real())
    assert count == 12
    assert seen >= least


def test_onsets_of_real_muscles_switched_on_at_known_moments_lie_within_their_uncertainties() -> None:
    found = errors(real_sources(), SHAPES[0])
    assert found.given_share > 0.8
    assert found.gross(found.given) < 0.02
    assert found.covered(2) > 0.9
    # each detector alone is further off, which is why the middle of three is given
    rms = {name: np.sqrt(np.nanmean(own**2)) for name, own in found.by_detector.items()}
    assert np.sqrt(np.nanmean(found.given**2)) < 0.7 * min(rms.values())
