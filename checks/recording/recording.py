"""Whether a trial was recorded the way its laboratory said: rates, unit, labels, plates, file structure.

What the signals then contain is for ``force`` and ``markers``.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from checks import showing as show
from checks.markers import shown
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from checks.self_description.agreement import untidy_in
from pipelines.science.signals import measures as signals
from pipelines.science.signals.middle import known_median
from schemas.reading import ChannelFacts
from schemas.study import SiteProfile, Study
from schemas.trial import UP, Posture, Trial

_NO_PROFILE = "the study file has no profile for this site"
#: Landmarks whose height says nothing about a person's size.
_NEAR_THE_GROUND = ("calcaneus", "malleolus", "metatarsal", "hallux", "navicular", "toe")
_RATE = Limit("1", "common practice: the nominal rate of a synchronised system is kept within 0.5 %")


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="The file says {found_hz:g} marker frames per second.",
    expected="{stated_hz:g} per second, as the site's profile states.",
    remedy="Export the trial again at {stated_hz:g} Hz without resampling. If the site has changed its "
    "camera rate for good, ask the data manager to change marker_rate_hz in the profile.",
    words=("found_hz", "stated_hz"),
    limits={"tolerance_fraction": _RATE},
)
def marker_rate_is_the_sites(trial: Trial, study: Study, *, tolerance_fraction: float = 0.005) -> Looked:
    """Markers are recorded at the rate the site's profile states.

    A wrong rate stretches every time: contact time, cadence and speed are all off by the same factor and still look
    like running.
    """
    profile = signals.profile_of(trial, study)
    if profile is None:
        return nothing(_NO_PROFILE)
    if not trial.facts.point_count:
        return nothing("no markers in the recording")
    found, stated = trial.facts.point_rate_hz, profile.marker_rate_hz
    wrong = not abs(found - stated) <= tolerance_fraction * stated
    return looked(1, [_rate_fault("marker frames", found, stated, tolerance_fraction)] if wrong else [])


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="The file says {found_hz:g} force samples per second.",
    expected="{stated_hz:g} per second, as the site's profile states.",
    remedy="Export the trial again with the analog channels at {stated_hz:g} Hz. If the site has changed "
    "its force rate for good, ask the data manager to change force_rate_hz in the profile.",
    words=("found_hz", "stated_hz"),
    limits={"tolerance_fraction": _RATE},
)
def force_rate_is_the_sites(trial: Trial, study: Study, *, tolerance_fraction: float = 0.005) -> Looked:
    """Force is recorded at the rate the site's profile states.

    Loading rates fall when force is sampled more slowly or resampled, and contact times stretch when the rate is
    stated wrongly.
    """
    profile = signals.profile_of(trial, study)
    if profile is None or profile.force_rate_hz is None:
        return nothing(_NO_PROFILE if profile is None else "the site's profile states no force rate")
    if not trial.plates or trial.analog_rate_hz is None:
        return nothing("no force plate in the recording")
    found, stated = trial.analog_rate_hz, profile.force_rate_hz
    wrong = not abs(found - stated) <= tolerance_fraction * stated
    return looked(1, [_rate_fault("force samples", found, stated, tolerance_fraction)] if wrong else [])


def _rate_fault(what: str, found: float, stated: float, tolerance: float) -> dict[str, Any]:
    limits = {"low": stated * (1 - tolerance), "high": stated * (1 + tolerance)}
    proof = show.picture(show.number(f"{what.capitalize()} per second, as the file says", "Hz", found, **limits))
    return {"found_hz": found, "stated_hz": stated, "place": f"{what.split()[0]} rate", "shows": proof}


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="The highest marker, {marker}, lies at {height_m:.4g} m (median), and the file gives its positions in {unit}.",
    expected="The highest marker of a person is {low_m:g} to {high_m:g} m above the floor.",
    remedy="Compare one known length, such as knee to ankle, with the file. If it is off by 10 or 1000, "
    "set POINT:UNITS to the unit the positions are in, or export them in {unit}. If lengths are right, the "
    "vertical axis or the origin in the profile is not the one of this recording.",
    words=("marker", "height_m", "unit"),
    limits={
        "low_m": Limit("m", "common practice: a pelvis or knee marker on a small runner"),
        "high_m": Limit("m", "common practice: a head marker on a tall runner in flight"),
    },
)
def positions_are_in_the_stated_unit(trial: Trial, study: Study, *, low_m: float = 0.35, high_m: float = 2.4) -> Looked:
    """Marker positions are the size of a person once read in the unit the file states.

    Millimetres called metres make steps of a kilometre; centimetres called millimetres make plausible angles with
    lengths ten times too small, which nobody notices in a plot.
    """
    heights = {
        role: known_median(xyz[:, UP])
        for role, xyz in trial.markers.items()
        if np.isfinite(xyz[:, UP]).any() and not any(low in role for low in _NEAR_THE_GROUND)
    }
    if not heights:
        return nothing("no marker above the foot was seen")
    role = max(heights, key=lambda r: heights[r])
    if low_m <= heights[role] <= high_m:
        return looked(len(heights))
    fault = {
        "marker": signals.named(trial, study, role),
        "height_m": heights[role],
        "unit": trial.facts.point_unit or "no stated unit",
        "place": "POINT:UNITS",
        "moment_s": 0.0,
        "shows": shown.body(
            show.number(f"Median height of {shown.words(role)}", "m", heights[role], low=low_m, high=high_m),
            trial,
            above=False,
            title="Both legs from the side, as read",
        ),
    }
    return looked(len(heights), [fault])


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="{lacking} of the {required} {markers} cannot be used: {which}.",
    expected="Every marker the study requires, and every one of a cluster, is labelled and was seen at least once.",
    remedy="Label the markers and export again; if the site's labels were renamed, give them back their old "
    "names or ask the data manager to change the profile. A trial in which the marker was not worn cannot "
    "be used.",
    words=("lacking", "required", "markers", "which"),
)
def required_markers_are_labelled(trial: Trial, study: Study, posture: Posture | None) -> Looked:
    """Every marker that the study requires is in the file under the site's label, or carried, with positions.

    Outcomes of that segment cannot be computed without it, and a runner with holes drops out of every comparison. One
    that a cluster carries waits for the standing trial, without which running_conditions_have_a_standing_trial speaks.
    A marker of a cluster that is in no frame is noted: the others carry if there are three of them.
    """
    if trial.kind == "reference_contraction":
        return nothing("a reference contraction needs no markers")
    required = study.required_at(trial.site)
    profile = signals.profile_of(trial, study)
    may_be_carried = profile.carried if profile is not None and trial.kind == "running" else frozenset()
    lacks = {
        role: lack
        for role in required
        if not (posture is None and role in may_be_carried) and (lack := _lack(trial, role, role in may_be_carried))
    }
    fault = {
        "lacking": len(lacks),
        "required": len(required),
        "markers": "required markers",
        "which": "; ".join(f"{signals.named(trial, study, role)} {lack}" for role, lack in lacks.items()),
        "place": signals.few(list(lacks), "markers"),
    }
    faults = [fault] if lacks else []
    if profile is not None and profile.clusters:
        faults += _of_clusters(trial, profile)
    return looked(len(required), faults) if required else nothing("the study requires no marker")


def _of_clusters(trial: Trial, profile: SiteProfile) -> list[dict[str, Any]]:
    """A note on the markers of clusters that the file lacks or never shows."""
    named = {
        marker: f"{label} of cluster {name}"
        for name, cluster in profile.clusters.items()
        for marker, label in zip(cluster.marker_names(name), cluster.labels, strict=True)
    }
    seen = {marker for marker, path in trial.carriers.items() if np.isfinite(path).all(axis=1).any()}
    lacking = [label for marker, label in named.items() if marker not in seen]
    told = {"lacking": len(lacking), "required": len(named), "markers": "markers of clusters"}
    which = "; ".join(f"{label} is not in the file, or in none of its frames" for label in lacking)
    place = signals.few(lacking, "markers")
    return [{**told, "which": which, "place": place, "weight": Weight.NOTES}] if lacking else []


def _lack(trial: Trial, role: str, may_be_carried: bool) -> str | None:
    """What keeps a required marker from being used; None if it is there."""
    if may_be_carried and role not in trial.carried and role in trial.missing_labels:
        return "could not be carried, for want of three markers of its cluster off one line, here and while standing"
    if role in trial.markers:
        seen = np.isfinite(trial.markers[role]).all(axis=1).any()
        return None if seen else "has no position in any frame"
    return "is not in the file" if role in trial.missing_labels else "has no label in the profile"


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="The file describes {found}.",
    expected="{stated}, as the site's profile states.",
    remedy="Switch on all force plates of the site in the export, in the order of the profile, with their "
    "FORCE_PLATFORM parameters, and export again. If the plates were changed for good, ask the data "
    "manager to change plate_types in the profile.",
    words=("found", "stated"),
)
def plates_are_those_of_the_site(trial: Trial, study: Study) -> Looked:
    """The file has as many force plates as the site, of the types its profile states.

    A plate that is left out turns a contact into a flight, and a wrong type reads moments as forces.
    """
    profile = signals.profile_of(trial, study)
    if profile is None:
        return nothing(_NO_PROFILE)
    if trial.kind != "running":
        return nothing("only running trials need their force plates")
    found = tuple(plate.c3d_type for plate in trial.plates)
    if found == tuple(profile.plate_types):
        return looked(max(1, len(found)))
    fault = {
        "found": _plates(found),
        "stated": _plates(profile.plate_types).capitalize(),
        "place": "FORCE_PLATFORM",
    }
    return looked(max(1, len(found)), [fault])


def _plates(types: tuple[int, ...]) -> str:
    if not types:
        return "no force plate"
    kinds = ", ".join(str(t) for t in types)
    return f"{len(types)} force plate{'s' if len(types) > 1 else ''} of type {kinds}"


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="{oddity}.",
    expected="The parts of a C3D file agree with each other (C3D user guide).",
    remedy="The trial was read all the same. Tell whoever looks after the export about it; a newer version "
    "of the capture program or another export setting usually puts it right.",
    words=("oddity",),
)
def file_structure_is_consistent(trial: Trial, study: Study, channels: ChannelFacts | None) -> Looked:
    """The header, parameters and data of the file say the same about its contents, also where no value depends on it.

    Files that contradict themselves are read differently by different programs, so two sites can get two results from
    the same bytes.
    """
    sentences = [" ".join(str(oddity).split()).rstrip(".") for oddity in trial.facts.oddities]
    faults = [{"oddity": s[:1].upper() + s[1:], "place": "file structure"} for s in sentences if s]
    faults += [{"oddity": c.said, "place": c.place} for c in untidy_in(trial, study, channels)]
    return looked(1, faults)
