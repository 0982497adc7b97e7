"""A few hundred seeded mutants of every kind. Many more: ``python -m benchmarks.attack --full``."""

import pytest

from benchmarks.attack import c3d_mutants, edf_contradictions, other_mutants
from benchmarks.attack.contradictions import contradictions
from benchmarks.attack.run import SILENCE, Job, attack, mutant, sound_files
from demo_site_uploads.simulator import edf_edit
from demo_site_uploads.simulator.c3d_edit import (
    header_word,
    renamed,
    with_header_float,
    with_header_word,
    with_parameter,
)

C3D, OTHERS = 220, 120


@pytest.fixture(scope="module")
def tallies():
    return list(attack(C3D, OTHERS))


def test_no_mutant_crashes_or_hangs_or_needs_more_memory_than_a_trial_may_take(tallies):
    assert [(t.target, t.kind, dict(t.details)) for t in tallies if t.details] == []
    assert all(t.fates["refused"] + t.fates["read"] == t.mutants for t in tallies)
    assert sum(t.mutants for t in tallies) >= C3D + OTHERS - 20
    assert max(t.peak_mb for t in tallies) < 1024


def test_every_kind_of_file_was_attacked_in_every_way(tallies):
    assert [t.kind for t in tallies if t.target == "c3d"] == list(c3d_mutants.KINDS)
    for target, kinds in other_mutants.KINDS.items():
        assert [t.kind for t in tallies if t.target == target] == list(kinds)


def test_some_mutants_are_refused_and_some_are_read(tallies):
    for fate in ("refused", "read"):
        assert sum(t.fates[fate] for t in tallies if t.target == "c3d") > C3D / 10


def test_a_mutant_is_made_again_from_its_number_and_differs_from_the_sound_file():
    for target, kind in (("c3d", "bits flipped"), ("c3d", "sections moved"), ("edf", "header at extremes")):
        made = [mutant(Job(target, kind, number)) for number in range(8)]
        assert made == [mutant(Job(target, kind, number)) for number in range(8)]
        assert sum(content not in sound_files(target) for content, _ in made) >= 7
        assert len(set(made)) >= 7


def test_no_mutant_with_other_values_that_contradicts_itself_goes_untold(tallies):
    """What contradicts itself is told by a reading of its own, written apart from the reader and the rules."""
    ends = {word: sum(t.silence[word] for t in tallies) for word in SILENCE}
    assert ends["silent"] == 0
    assert ends["returned"] >= C3D / 20


def test_the_reading_apart_finds_nothing_in_the_demonstration_and_each_of_some_changes():
    sound = sound_files("c3d")[0]
    assert contradictions(sound) == set()
    assert contradictions(with_header_float(sound, 7, lambda scale: 1.08 * scale)) == {"scale"}
    assert contradictions(with_header_word(sound, 2, header_word(sound, 2) + 1)) >= {"points"}
    assert contradictions(with_parameter(sound, "ANALOG", "RATE", [700.0])) == {"analog rate"}
    assert contradictions(renamed(sound, "FORCE_PLATFORM", "ORIGIN", "ORAGIN")) == {"plates and ORIGIN"}


def test_the_reading_apart_of_second_files_finds_nothing_in_the_demonstration_and_each_of_some_changes():
    sound = sound_files("edf")[0]
    assert edf_contradictions.contradictions(sound) == set()
    assert edf_contradictions.contradictions(edf_edit.without_record(sound, 5)) == {"times of records"}
    assert edf_contradictions.contradictions(edf_edit.doubled_record(sound, 5)) == {"times of records"}
    assert edf_contradictions.contradictions(edf_edit.with_field(sound, 0, 120, "-3")) == {
        "samples outside their range"
    }
    assert edf_contradictions.contradictions(sound + b"\0\0") == {"size"}
