"""Prints the grid: recording by recording, perturbation by perturbation, what moved, by how much, and who spoke."""

from __future__ import annotations

import argparse

from benchmarks.perturbations.grid import moved, recordings, silent
from benchmarks.perturbations.wrong import BETWEEN, GRID
from benchmarks.real_recordings.recordings import there

if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m benchmarks.perturbations", description=__doc__)
    parser.add_argument("--every", action="store_true", help="every outcome, not only those outside their uncertainty")
    parser.add_argument("--between", action="store_true", help="sizes between and beyond those of the grid instead")
    given = parser.parse_args()
    count = 0
    for subject in recordings():
        for perturbation in BETWEEN if given.between else GRID:
            effect = moved(subject, perturbation)
            print(f"{subject.name:16} {perturbation.name:34} {effect.told()}")
            wrong = silent(effect)
            count += len(wrong)
            for one in effect.moves if given.every else wrong:
                print(f"    {one.outcome:38} {one.by:+10.4g} {one.unit:12} against {2 * one.uncertainty:.3g} (k = 2)")
    if not there():
        print("the two real recordings are not on this machine: of simulated ones only,")
    print(f"{count} outcomes moved out of their stated uncertainty (k = 2) without a finding")
