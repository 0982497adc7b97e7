"""How the reading of a trial's files ended: the trial file, or the second file recorded beside it.

What was in them is for ``recording``, ``channels``, ``force`` and ``markers``.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePosixPath

from checks.registry import Looked, Subject, Weight, check, looked, nothing
from schemas.reading import Reading


@dataclass(frozen=True)
class _Kind:
    """One kind of file: its format, how to open it where it was made, and how to make one that is read here."""

    article: str
    name: str
    opened: str
    plain: str


_C3D = _Kind(
    "a",
    "C3D",
    "Open the file at the site and check that it shows the whole trial",
    "Export it again as a plain C3D file, with force plates of type 1 to 4",
)
_EDF = _Kind(
    "an",
    "EDF+",
    "Open this second file at the site and check that it holds every channel of the whole trial",
    "Save it again as a continuous 16-bit EDF+ file (EDF+C); interrupted (EDF+D) and 24-bit (BDF) recordings are not "
    "read",
)
#: Endings of second files; a trial file is whatever has another one.
_EDF_ENDINGS = (".edf", ".bdf", ".rec")
#: These endings are told by a worker that is no more, so they name the trial file whichever file was at fault.
_SHORTER = "Cut the recording to the part with the run, leave out unused channels, and export it again"
#: problem: what was seen, what to do.
_WORDS = {
    "malformed": (
        "The file is damaged or is not {kind.article} {kind.name} file",
        "{kind.opened}, then export it again; if it does not open there either, fetch it from the recording computer",
    ),
    "crashed": (
        "The program that reads {kind.name} files broke down on this file, or on one recorded beside it",
        "{kind.opened}, then export it again, and a second file of this trial too",
    ),
    "too_slow": ("Reading the trial's files took longer than the study allows", _SHORTER),
    "too_large": ("Reading the trial's files took more memory than the study allows", _SHORTER),
    "unsupported": ("The file uses a part of the {kind.name} format that is not read here", "{kind.plain}"),
}


@check(
    about=Subject.READING,
    weight=Weight.RETURNS,
    seen="{outcome}{detail}.",
    expected="A whole {format} file that can be read within the study's limits of time and memory.",
    remedy="{what_to_do}. Send {together}.",
    words=("outcome", "detail", "format", "what_to_do", "together"),
)
def trial_file_can_be_read(reading: Reading) -> Looked:
    """Every file of a trial can be read: its C3D file, and the EDF+ file recorded beside it where there is one.

    Nothing can be computed from a file that cannot be read, and half a file that reads anyway would give half a run.
    """
    if reading.problem is None:
        return looked(1)
    if reading.problem == "missing":
        return nothing("the file is not in the bag, which trial_files_are_in_the_bag reports")
    second = PurePosixPath(reading.file).suffix.lower() in _EDF_ENDINGS
    kind = _EDF if second else _C3D
    outcome, what_to_do = (words.format(kind=kind) for words in _WORDS[reading.problem])
    detail = " ".join(reading.detail.split()).rstrip(".")
    fault = {
        "outcome": outcome,
        "detail": f": {detail}" if detail else "",
        "format": kind.name,
        "what_to_do": what_to_do,
        "together": "it again together with the trial's C3D file" if second else "the trial again under the same id",
        "file": reading.file,
    }
    return looked(1, [fault])


@check(
    about=Subject.READING,
    weight=Weight.RETURNS,
    seen="The paths of the markers are those of {copy_of}, or of a part of it, though the files differ.",
    expected="A recording of its own for every trial; no two strides are alike in every bend.",
    remedy="Find out which of the two trials the recording belongs to, and export the right recording for the other. "
    "If it was exported twice with other settings, send only one of the two.",
    words=("copy_of",),
)
def recording_is_of_one_trial_only(reading: Reading) -> Looked:
    """A recording is not sent again, cut, resampled, rescaled or with noise added, as another trial.

    The same run counted twice, perhaps as another runner's or in other footwear, makes differences look smaller or
    surer than they are. Exact copies are found by their checksum.
    """
    if not reading.shaped:
        return nothing("no whole stride, or no shape of who stands, to compare")
    return looked(1, [{"copy_of": reading.copy_of}] if reading.copy_of else [])
