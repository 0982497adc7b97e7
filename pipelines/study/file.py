"""Reads the study file and the site profiles: what must fit between settings that pydantic sees one by one.

What the settings mean is in ``schemas.study``, how a file of settings is read in ``reading``, and the analysis plan
beside the study file in ``plan``.
"""

from __future__ import annotations

import difflib
import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from checks.registry import catalogue
from pipelines.study.anatomy import by_landmark, declared_twice, never
from pipelines.study.handover import load_hand_over
from pipelines.study.plan import LoadedPlan, load_plan
from pipelines.study.reading import Fault, checked, parse, read_bytes, refuse, shown
from schemas.handover import HandOver
from schemas.study import SiteProfile, Study


@dataclass(frozen=True)
class LoadedStudy:
    """A study as read. ``version`` is the study's own version, "+", and 8 hex digits over all files but the plan.

    plan: the analysis plan beside it, None without one; no trial is judged by it. hand_over: who hears of a run.
    """

    study: Study
    version: str
    path: Path
    plan: LoadedPlan | None = None
    hand_over: HandOver = field(default_factory=HandOver)


def load_study(path: str | Path) -> LoadedStudy:
    """The study file with the profiles it names (paths relative to it), its plan, its hand-over. Raises Unusable."""
    path = Path(path)
    data = read_bytes(path, "study file")
    settings = parse(data, path)
    digest = hashlib.sha256(data)
    sites = settings.get("sites")
    faults: list[Fault] = []
    for name, site in sorted(sites.items(), key=lambda item: str(item[0])) if isinstance(sites, dict) else []:
        if isinstance(site, dict) and "profile" in site:
            named = site["profile"]
            if not isinstance(named, str) or Path(named).is_absolute():
                expected = "the path of the profile, relative to the study file"
                faults.append(Fault(f"sites.{name}.profile", f"is {shown(named)}", expected))
                continue
            profile_path = path.parent / named
            profile_data = read_bytes(profile_path, f"profile of site {name}")
            digest.update(f"\0{name}\0".encode() + profile_data)
            site["profile"] = checked(SiteProfile, parse(profile_data, profile_path), profile_path, "site_profile.md")
    refuse(faults, path, "study_file.md")
    study = checked(Study, settings, path, "study_file.md")
    refuse(list(_disagreements(study)), path, "study_file.md")
    study = by_landmark(study)
    refuse([Fault(n.what, "can never be had", n.wanted) for n in never(study)], path, "study_file.md")
    plan = load_plan(path.parent, study)
    version = f"{study.version}+{digest.hexdigest()[:8]}"
    return LoadedStudy(study, version, path, plan, load_hand_over(path.parent, study))


def load_profile(path: str | Path) -> SiteProfile:
    """One site profile on its own. Raises Unusable."""
    path = Path(path)
    return checked(SiteProfile, parse(read_bytes(path, "site profile"), path), path, "site_profile.md")


def _disagreements(study: Study) -> Iterator[Fault]:
    """Settings that are each possible but do not fit together."""
    for name, site in study.sites.items():
        yield from _profile_faults(name, site.profile, study)
        yield from _limit_faults(site.limits, f"sites.{name}.limits")
    yield from _limit_faults(study.limits, "limits")
    sided = {name for role, spec in study.marker_roles.items() if spec.sided for name in (role, spec.landmark)}
    for setting in ("heel_role", "forefoot_role", "toe_role"):
        if (role := getattr(study.processing, setting)) not in sided:
            yield Fault(f"processing.{setting}", f"is {role!r}", "a marker role with sides, from marker_roles")
    for landmark, roles in declared_twice(study):
        yield Fault(
            "marker_roles", f"declares {' and '.join(roles)} to be the {landmark}", "one role for each landmark"
        )


def _profile_faults(name: str, profile: SiteProfile, study: Study) -> Iterator[Fault]:
    place = f"sites.{name}.profile"
    if profile.site != name:
        yield Fault(place, f"is the profile of site {profile.site!r}", f"the profile of site {name!r}")
    known = study.roles_with_side()
    for role in profile.markers:
        if role not in known:
            yield Fault(f"{place}: markers.{role}", "is not a marker of the study", _role_hint(role, known))
    for role in study.roles_with_side(required_only=True):
        if role not in profile.markers:
            yield Fault(f"{place}: markers.{role}", "is missing", "the lab's label, since the study requires it")
    labels = list(profile.markers.values())
    for label in sorted({label for label in labels if labels.count(label) > 1}):
        yield Fault(f"{place}: markers", f"gives label {label!r} to {labels.count(label)} roles", "one role each")
    if profile.plate_types and profile.force_rate_hz is None:
        yield Fault(f"{place}: force_rate_hz", "is missing", "a rate, since the profile names force plates")


def _role_hint(role: str, known: tuple[str, ...]) -> str:
    near = difflib.get_close_matches(role, known, n=1)
    return f"perhaps {near[0]}" if near else "a role of marker_roles, with _left or _right where it has sides"


def _limit_faults(limits: Mapping[str, Mapping[str, object]], place: str) -> Iterator[Fault]:
    """Names of checks and thresholds that do not exist. place: where in the study file they stand."""
    checks = catalogue() if limits else {}
    for name, thresholds in limits.items():
        if name not in checks:
            near = difflib.get_close_matches(name, checks, n=1)
            expected = f"perhaps {near[0]}" if near else "the name of a check, from docs/reference/checks"
            yield Fault(f"{place}.{name}", "is not a check", expected)
            continue
        for threshold in thresholds:
            if threshold not in (known := checks[name].limits):
                near = difflib.get_close_matches(threshold, known, n=1)
                expected = f"one of {', '.join(known)}" if known else "none; this check has no thresholds"
                hint = f"perhaps {near[0]}" if near else expected
                yield Fault(f"{place}.{name}.{threshold}", "is not a threshold of this check", hint)
