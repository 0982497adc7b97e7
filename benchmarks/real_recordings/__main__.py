"""Prints our numbers beside the truth for each real recording, every finding about it, and faults planted into muscles.

Disturbances by their size take minutes and are printed by ``benchmarks.real_recordings.disturbances``.
"""

from __future__ import annotations

from benchmarks.real_recordings import jog_muscles, jog_table
from benchmarks.real_recordings.recordings import there
from benchmarks.real_recordings.table import lines

if __name__ == "__main__":
    if not there():
        raise SystemExit("The real recordings are not on this machine (../shared/real_treadmill, real_runway_emg).")
    for line in lines():
        print(line)
    print("\nMuscles of the runway: truth, ours, verdict")
    for line in jog_table.lines():
        print(line)
    print("\nFaults of names, legs and clocks planted into these muscles, and which checks speak")
    for line in jog_muscles.lines():
        print(line)
