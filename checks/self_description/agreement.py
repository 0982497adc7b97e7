"""The checks of a recording's self-description: contradictions in which values are wrong or may be.

What is only untidy is told by ``file_structure_is_consistent`` in ``checks.recording.recording``. Which statements are
compared stands in the rules beside this module.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from checks.registry import Looked, Subject, Weight, check, looked, nothing
from checks.self_description import name_rules, second_file_rules
from checks.self_description.c3d_rules import C3D_RULES
from checks.self_description.plate_rules import PLATE_RULES
from checks.self_description.rule import Contradiction, Rule
from checks.self_description.sample_rules import SAMPLE_RULES
from pipelines.science.signals import measures as signals
from schemas.reading import ChannelFacts
from schemas.self_description import SelfDescription
from schemas.study import Study
from schemas.trial import Trial

_UNKNOWN = "nothing is known of the file itself"
#: Rules of ``file_agrees_with_itself``.
FILE_RULES = C3D_RULES + SAMPLE_RULES


def contradictions_in(
    description: SelfDescription, rules: Iterable[Rule] = FILE_RULES + PLATE_RULES
) -> list[Contradiction]:
    """Every contradiction in one C3D file but for those of names, which depend on what is asked of the file."""
    return [found for rule in rules for found in rule.contradictions(description)]


def untidy_in(trial: Trial, study: Study, channels: ChannelFacts | None) -> Iterator[Contradiction]:
    """What does not agree in the trial's files and changes no value."""
    if trial.facts.description is not None:
        found = [*contradictions_in(trial.facts.description), *_of_names(trial, study, channels)]
        yield from (c for c in found if c.weight is Weight.NOTES)


def contradicts_itself(trial: Trial, study: Study, channels: ChannelFacts | None) -> bool:
    """Whether values of the trial's files are wrong, or may be, by what the files say of themselves."""
    results = (
        file_agrees_with_itself(trial),
        force_plates_are_described_in_full(trial),
        names_stand_for_one_thing(trial, study, channels),
        second_file_agrees_with_itself(trial, channels),
    )
    return any(result.faults for result in results)


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="{said}.",
    expected="A C3D file that states something twice states the same: {statements} (C3D user guide).",
    remedy="Export the trial again from the original recording with the current version of the program. Do not edit "
    "the file: nobody can know from it which of the two is right. If every export of the site says this, send "
    "the data manager one file together with the sentence above.",
    words=("said", "statements"),
)
def file_agrees_with_itself(trial: Trial) -> Looked:
    """Header, parameters and size of a C3D file say the same about its numbers.

    The same bytes give other positions, times or forces if another of the statements is believed, and they look like
    running all the same: a scale that is 8 % off makes steps 8 % longer and nothing else.
    """
    return _told(trial, FILE_RULES)


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="{said}.",
    expected="Every force plate has a type, four corners, an origin and channels of its own: {statements} (C3D user "
    "guide).",
    remedy="Enter the plate's data in the capture program as its maker gives them (corners in the order of the "
    "drawing, origin below the surface, one channel for each signal), look at one trial in which somebody stands on "
    "it, and export the trial again.",
    words=("said", "statements"),
)
def force_plates_are_described_in_full(trial: Trial) -> Looked:
    """Every force plate of the file is described, and only once.

    A missing origin shifts every centre of pressure, and a channel that is named twice takes the place of another: the
    force still looks like a footfall.
    """
    return _told(trial, PLATE_RULES)


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="{said}.",
    expected="Every name that the profile or channels.csv asks for stands for one thing in the files.",
    remedy="Give each of them a name of its own in the capture program and export the trial again; then the profile or "
    "channels.csv says which one is meant.",
    words=("said",),
)
def names_stand_for_one_thing(trial: Trial, study: Study, channels: ChannelFacts | None) -> Looked:
    """Every label and parameter that is read stands in its file once.

    The first of several is read and nobody is asked: which marker or muscle that is depends on the order of an export.
    """
    if trial.facts.description is None:
        return nothing(_UNKNOWN)
    found = [c for c in _of_names(trial, study, channels) if c.weight is Weight.RETURNS]
    return looked(max(1, len(trial.facts.labels)), [{"said": c.said, "place": c.place} for c in found])


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="In the second file {second} {said}.",
    expected="Data records of a continuous recording (EDF+C) follow one another without a hole, each with its own "
    "time, and samples lie within the range that the header states (EDF and EDF+ specification).",
    remedy="Export the second file again from the recorder's original. If the original has the same fault (a lost "
    "radio link, a card that was too slow), send the trial again without its second file: what it shows of muscles "
    "cannot be placed in time.",
    words=("second", "said"),
)
def second_file_agrees_with_itself(trial: Trial, channels: ChannelFacts | None) -> Looked:
    """The second file's own times and ranges agree with its samples.

    Samples are read one after the other: behind a hole every muscle is early by its length, as much as footwear moves
    an onset, and in the match of the clocks it looks like another offset.
    """
    says = channels.second if channels is not None else None
    if channels is None or says is None:
        return nothing("there is no second file")
    file = channels.second_file or trial.file
    faults = [
        {"said": said, "second": file, "file": file, "place": "second file"} for said in second_file_rules.said_of(says)
    ]
    return looked(says.records, faults)


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="{markers} at {where} as if seen there: {which}.",
    expected="Where a marker was not seen its residual is negative (C3D user guide).",
    remedy="These frames were read as gaps. Set the export to mark missing positions as invalid instead of writing "
    "zeros or another number; other programs take them for places. No label is to be changed for it.",
    words=("markers", "where", "which"),
)
def missing_positions_are_marked(trial: Trial, study: Study) -> Looked:
    """Where a marker was not seen the file says so.

    A marker that jumps to the origin of the laboratory and back makes a speed, a length and an angle that nobody had.
    So it does where -9999 or another number stands for a gap: it leaps there, stands still to the bit, and leaps back.
    """
    profile = signals.profile_of(trial, study)
    if trial.facts.description is None or profile is None:
        return nothing(_UNKNOWN if trial.facts.description is None else "the study file has no profile for this site")
    wanted = set(profile.markers.values())
    hit = [point for point in trial.facts.description.unmarked if point.label in wanted]
    places = list(dict.fromkeys(f"({', '.join(f'{x:g}' for x in point.position)})" for point in hit))
    fault = {
        "markers": "1 marker stands" if len(hit) == 1 else f"{len(hit)} markers stand",
        "where": " or ".join(places[:3]) + (" or elsewhere" if len(places) > 3 else ""),
        "which": ", ".join(f"{point.label} in {point.frames} frames" for point in hit[:12]),
        "place": signals.few([point.label for point in hit], "markers"),
    }
    return looked(max(1, len(trial.markers)), [fault] if hit else [])


def _told(trial: Trial, rules: tuple[Rule, ...]) -> Looked:
    if trial.facts.description is None:
        return nothing(_UNKNOWN)
    faults: list[dict[str, Any]] = []
    for rule in rules:
        for found in rule.contradictions(trial.facts.description):
            if found.weight is Weight.RETURNS:
                faults.append({"said": found.said, "place": found.place, "statements": ", ".join(rule.statements)})
    return looked(len(rules), faults)


def _of_names(trial: Trial, study: Study, channels: ChannelFacts | None) -> list[Contradiction]:
    assert trial.facts.description is not None
    profile = signals.profile_of(trial, study)
    labels = set(profile.markers.values()) if profile else set()
    named = channels.labels if channels is not None else ()
    found = list(name_rules.contradictions(trial.facts.description.twins, labels, named))
    if channels is not None and channels.second is not None:
        found += name_rules.contradictions(channels.second.twins, (), named)
    return found
