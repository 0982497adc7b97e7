"""How the reading of a trial file ended. What was in it is for ``recording``, ``force`` and ``markers``."""

from __future__ import annotations

from checks.registry import Looked, Subject, Weight, check, looked, nothing
from schemas.reading import Reading

_AGAIN = "Open the file at the lab, check that it shows the whole trial, and export it again"
#: problem: what was seen, what to do.
_WORDS = {
    "malformed": (
        "The file is damaged or is not a C3D file",
        f"{_AGAIN}; if it does not open there either, fetch it from the recording computer",
    ),
    "crashed": ("The program that reads C3D files broke down on this file", _AGAIN),
    "too_slow": (
        "Reading the file took longer than the study allows",
        "Cut the recording to the part with the run, leave out unused channels, and export it again",
    ),
    "too_large": (
        "Reading the file took more memory than the study allows",
        "Cut the recording to the part with the run, leave out unused channels, and export it again",
    ),
    "unsupported": (
        "The file uses a part of the C3D format that is not read here",
        "Export it again as a plain C3D file, with force plates of type 1 to 4",
    ),
}


@check(
    about=Subject.READING,
    weight=Weight.RETURNS,
    seen="{outcome}{detail}.",
    expected="A whole C3D file that can be read within the study's limits of time and memory.",
    remedy="{what_to_do}.",
)
def trial_file_can_be_read(reading: Reading) -> Looked:
    """Every trial file is a whole C3D file that can be read.

    Nothing can be computed from a file that cannot be read, and half a file that reads anyway would give half a run.
    """
    if reading.problem is None:
        return looked(1)
    if reading.problem == "missing":
        return nothing("the file is not in the bag, which trial_files_are_in_the_bag reports")
    outcome, what_to_do = _WORDS[reading.problem]
    detail = " ".join(reading.detail.split()).rstrip(".")
    fault = {
        "outcome": outcome,
        "detail": f": {detail}" if detail else "",
        "what_to_do": what_to_do,
        "file": reading.file,
    }
    return looked(1, [fault])
