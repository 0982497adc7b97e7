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
from typing import Any

from checks.registry import catalogue
from pipelines.study.anatomy import by_landmark, declared_twice, never
from pipelines.study.drafts import Draft, looked_at, open_lines, profile_faults
from pipelines.study.handover import load_hand_over
from pipelines.study.plan import LoadedPlan, load_plan
from pipelines.study.reading import Fault, checked, parse, read_bytes, refuse, shown
from schemas.handover import HandOver
from schemas.study import SiteProfile, Study


@dataclass(frozen=True)
class LoadedStudy:
    """A study as read. ``version`` is the study's own version, "+", and 8 hex digits over all files but the plan.

    plan: the analysis plan beside it, None without one; no trial is judged by it.
    drafts: sites whose profile is not finished; the study does not hold them. hand_over: who hears of a run.
    """

    study: Study
    version: str
    path: Path
    plan: LoadedPlan | None = None
    drafts: tuple[Draft, ...] = ()
    hand_over: HandOver = field(default_factory=HandOver)

    @property
    def every_site(self) -> tuple[str, ...]:
        """Names of all sites, those whose profile is not finished too."""
        return (*self.study.sites, *(draft.site for draft in self.drafts))


def load_study(path: str | Path) -> LoadedStudy:
    """The study file with the profiles it names (paths relative to it), its plan, its hand-over. Raises Unusable."""
    path = Path(path)
    data = read_bytes(path, "study file")
    settings = parse(data, path)
    digest = hashlib.sha256(data)
    sites = settings.get("sites")
    faults: list[Fault] = []
    drafts: dict[str, Draft] = {}
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
            profile = parse(profile_data, profile_path)
            if open_lines(profile_data):
                drafts[name] = Draft(str(name), profile_path, profile)
            else:
                site["profile"] = checked(SiteProfile, profile, profile_path, "site_profile.md")
    refuse(faults, path, "study_file.md")
    study, unfinished = _with_finished(settings, drafts, path)
    refuse(list(_disagreements(study)), path, "study_file.md")
    study = by_landmark(study)
    refuse([Fault(n.what, "can never be had", n.wanted) for n in never(study)], path, "study_file.md")
    plan = load_plan(path.parent, study)
    version = f"{study.version}+{digest.hexdigest()[:8]}"
    return LoadedStudy(study, version, path, plan, unfinished, load_hand_over(path.parent, study))


def _with_finished(settings: dict[str, Any], drafts: dict[str, Draft], path: Path) -> tuple[Study, tuple[Draft, ...]]:
    """The study, with those sites of ``drafts`` whose profile can be used as it is, and the others. Raises Unusable."""
    if not drafts:
        return checked(Study, settings, path, "study_file.md"), ()
    others = {name: site for name, site in settings["sites"].items() if name not in drafts}
    study = checked(Study, _narrowed(settings, others), path, "study_file.md")
    seen = {name: looked_at(draft, study) for name, draft in drafts.items()}
    finished = {
        name: settings["sites"][name] | {"profile": profile}
        for name, profile in seen.items()
        if isinstance(profile, SiteProfile)
    }
    study = checked(Study, _narrowed(settings, others | finished), path, "study_file.md")
    return study, tuple(draft for draft in seen.values() if isinstance(draft, Draft))


def _narrowed(settings: dict[str, Any], sites: dict[str, Any]) -> dict[str, Any]:
    """The settings with these sites alone; what is planned for the others waits with them."""
    planned = settings.get("planned_runners")
    if not isinstance(planned, dict):
        return settings | {"sites": sites}
    there = {site: own for site, own in planned.items() if site in sites or site not in settings["sites"]}
    return settings | {"sites": sites, "planned_runners": there}


def load_profile(path: str | Path) -> SiteProfile:
    """One site profile on its own. Raises Unusable."""
    path = Path(path)
    return checked(SiteProfile, parse(read_bytes(path, "site profile"), path), path, "site_profile.md")


def _disagreements(study: Study) -> Iterator[Fault]:
    """Settings that are each possible but do not fit together."""
    for name, site in study.sites.items():
        yield from profile_faults(name, site.profile, study)
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
