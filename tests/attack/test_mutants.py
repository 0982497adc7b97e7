"""A few hundred seeded mutants of every kind. Many more: ``python -m benchmarks.attack --full``."""

import pytest

from benchmarks.attack import c3d_mutants, other_mutants
from benchmarks.attack.run import Job, attack, mutant, sound_files

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
        assert sum(content not in sound_files(target) for content in made) >= 7
        assert len(set(made)) >= 7
