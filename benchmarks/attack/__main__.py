"""``python -m benchmarks.attack [--full]``: a line for each kind of mutant; exits with 1 if one crashed or hung."""

from __future__ import annotations

import sys
from time import perf_counter

from benchmarks.attack.run import CORPUS, FULL, HEAD, QUICK, SILENCE, SILENCE_HEAD, Tally, attack, sound_files


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
    silent = _tell_silence(tallies)
    return 1 if ends["crashed"] or ends["too_slow"] or silent else 0


def _tell_silence(tallies: list[Tally]) -> int:
    """Of mutants whose values differ while the file contradicts itself: how many nobody was told of."""
    print(f"\n{SILENCE_HEAD}")
    for tally in (t for t in tallies if t.silence):
        print(f"{tally.target + ': ' + tally.kind:35}" + "".join(f"{tally.silence[word]:20}" for word in SILENCE))
    total = {word: sum(t.silence[word] for t in tallies) for word in SILENCE}
    shown = total["returned"] + total["noted"] + total["silent"]
    share = 100 * total["silent"] / shown if shown else 0.0
    print(
        f"\nSilently wrong: {total['silent']} of {shown} mutants whose values differ while the file contradicts itself "
        f"({share:.1f} %); {total['noted']} of them are only noted. In {total['agrees with itself']} more other values "
        "agree with all that the file says: single samples and numbers that are stated once can't be seen in it."
    )
    return total["silent"]


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
