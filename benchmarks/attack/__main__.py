"""``python -m benchmarks.attack [--full]``: a line for each kind of mutant; exits with 1 if one crashed or hung."""

from __future__ import annotations

import sys
from time import perf_counter

from benchmarks.attack.run import CORPUS, FULL, HEAD, QUICK, attack, sound_files


def main(arguments: list[str]) -> int:
    """Run, print, and tell by the exit code whether all went well."""
    counts = FULL if "--full" in arguments else QUICK
    public = "the public sample files and " if CORPUS.is_dir() else ""
    print(
        f"C3D mutants are made from {len(sound_files('c3d'))} files: {public}the demonstration's.\n\n{HEAD}", flush=True
    )
    began, tallies = perf_counter(), []
    for tally in attack(*counts, own_workers="--full" in arguments):
        tallies.append(tally)
        print(tally.line, flush=True)
        for detail, count in tally.details.most_common(5):
            print(f"     {count} times {detail[:300]}", flush=True)
    mutants = {c3d: sum(t.mutants for t in tallies if (t.target == "c3d") == c3d) for c3d in (True, False)}
    ends = {end: sum(t.fates[end] for t in tallies) for end in ("refused", "read", "too_large", "crashed", "too_slow")}
    print(f"\n{mutants[True]} C3D and {mutants[False]} other mutants in {perf_counter() - began:.0f} s:")
    print(f"{ends['refused']} refused or with a finding, {ends['read']} read, ", end="")
    print(
        f"{ends['too_large']} stopped by the limit on memory, {ends['crashed']} crashes, {ends['too_slow']} hangs; ",
        end="",
    )
    print(f"at most {max(t.peak_mb for t in tallies):.0f} MiB in a worker.")
    return 1 if ends["crashed"] or ends["too_slow"] else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
