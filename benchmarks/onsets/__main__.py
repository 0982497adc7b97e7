"""``python -m benchmarks.onsets``: errors of three published detectors, and what is given and covered.

Threshold (Hodges & Bui 1996), energy operator with a threshold (Li, Zhou & Aruin 2007; Solnik et al. 2010) and the
change point of greatest likelihood (the family that Staude et al. 2001, EURASIP J Appl Signal Process 2001:67-81, and
Tenan et al. 2017, PLoS ONE 12:e0177312, compare), on signals whose onsets are known, and on the real jog, where nobody
knows them: there it is told what is given, and how far the detectors lie apart.
"""

from __future__ import annotations

from benchmarks.onsets.figures import of_known_onsets, of_the_jog
from benchmarks.onsets.made import SHAPES, real, simulated
from benchmarks.real_recordings.recordings import there

if __name__ == "__main__":
    print(
        "Errors, found less true: median, root mean square, part of the onsets more than 50 ms off;\n"
        "for what is given also of how many bursts, and how often the truth lies within one and two uncertainties"
    )
    sources = [("simulated muscles", tuple(simulated()))]
    if there():
        sources.append(("the real jog's twelve muscles, switched on at known moments", real()))
    for name, own in sources:
        print(name)
        for shape in SHAPES:
            for line in of_known_onsets(own, shape):
                print(f"  {line}")
    if there():
        print("the real jog as it is")
        for line in of_the_jog():
            print(f"  {line}")
