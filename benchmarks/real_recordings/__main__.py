"""Prints our numbers beside the truth for each real recording, and every finding about it."""

from __future__ import annotations

from benchmarks.real_recordings.recordings import there
from benchmarks.real_recordings.table import lines

if __name__ == "__main__":
    if not there():
        raise SystemExit("The real recordings are not on this machine (../shared/real_treadmill, real_runway_emg).")
    for line in lines():
        print(line)
