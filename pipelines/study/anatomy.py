"""What a study declares its marker roles and muscles to be, and what can never be computed or checked with them.

Inside, a marker is known by its landmark, whatever the study file calls its role: profiles and settings are turned to
landmarks when the study is read, so that a role that is renamed changes nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TypeVar

from schemas.processing import Processing
from schemas.settings import Settings
from schemas.study import SiteProfile, Study

S = TypeVar("S", bound=Settings)
_SIDES = ("_left", "_right")


@dataclass(frozen=True)
class Never:
    """Something that can never be computed or checked. word: for ``does_without``; lacks: what would be needed."""

    word: str
    what: str
    lacks: str

    @property
    def wanted(self) -> str:
        """What the study file may say instead."""
        return f"{self.lacks}, or {self.word} in does_without"


def declared_twice(study: Study) -> Iterator[tuple[str, list[str]]]:
    """Landmarks that more than one role stands for, with these roles."""
    roles_of: dict[str, list[str]] = {}
    for role, spec in study.marker_roles.items():
        roles_of.setdefault(spec.landmark or role, []).append(role)
    return ((landmark, roles) for landmark, roles in roles_of.items() if len(roles) > 1)


def by_landmark(study: Study) -> Study:
    """The study with every marker role called by the landmark it is declared to be."""
    names = {role: str(spec.landmark) for role, spec in study.marker_roles.items() if spec.landmark not in (None, role)}
    if not names:
        return study
    roles = {names.get(role, role): spec for role, spec in study.marker_roles.items()}
    sites = {
        name: site.model_copy(
            update={
                "profile": site.profile.model_copy(
                    update={
                        "markers": {_of_side(role, names): label for role, label in site.profile.markers.items()},
                        "clusters": {
                            cluster: own.model_copy(update={"carries": tuple(_of_side(r, names) for r in own.carries)})
                            for cluster, own in site.profile.clusters.items()
                        },
                    }
                )
            }
        )
        for name, site in study.sites.items()
    }
    changes = {"marker_roles": roles, "sites": sites, "processing": _renamed(study.processing, names)}
    ways = {
        name: group.model_copy(update={"ways": tuple(tuple(names.get(r, r) for r in way) for way in group.ways)})
        for name, group in study.requires_any.items()
    }
    return study.model_copy(update=changes | {"requires_any": ways})


def _of_side(role: str, names: Mapping[str, str]) -> str:
    for side in _SIDES:
        bare = role.removesuffix(side)
        if bare != role and bare in names:
            return f"{names[bare]}{side}"
    return names.get(role, role)


def _renamed(settings: S, names: Mapping[str, str]) -> S:
    """Settings in which every ``..._role`` and ``..._roles`` is called by its landmark, groups inside included."""
    changes: dict[str, object] = {}
    for field in type(settings).model_fields:
        value = getattr(settings, field)
        if isinstance(value, Settings):
            changes[field] = _renamed(value, names)
        elif field.endswith("_role") and isinstance(value, str):
            changes[field] = names.get(value, value)
        elif field.endswith("_roles") and isinstance(value, tuple):
            changes[field] = tuple(names.get(role, role) for role in value)
    return settings.model_copy(update=changes)


def never(study: Study) -> list[Never]:
    """All that can never be computed or checked with what the study declares; the study must call by landmark."""
    found = [*_of_markers(study, study.processing), *_of_muscles(study)]
    return [one for one in found if one.word not in study.does_without]


def _of_markers(study: Study, p: Processing) -> Iterator[Never]:
    sided = {role for role, spec in study.marker_roles.items() if spec.sided}
    yield from _lacking(sided, set(study.marker_roles), p, "a sided marker role for ")
    runway = any(site.profile.surface == "runway" for site in study.sites.values())
    if runway and not set(p.speed_roles) & set(study.marker_roles):
        yield Never("runway_speed", "speed on a runway", f"one of {', '.join(p.speed_roles)}")


def empty_at(profile: SiteProfile, p: Processing) -> list[Never]:
    """What stays empty in every trial of a laboratory, since its profile gives no label to a marker that it needs.

    Markers that a cluster carries count as there. The profile must call by landmark.
    """
    roles = {_bare(role) for role in profile.markers}
    sided = {role for role in roles if {f"{role}{side}" for side in _SIDES} <= profile.markers.keys()}
    found = [*_lacking(sided, roles, p, "a label on each side for "), *_out_of_plane(sided, roles, p)]
    if profile.surface == "runway" and not set(p.speed_roles) & roles:
        found.append(Never("runway_speed", "speed on a runway", f"one of {', '.join(p.speed_roles)}"))
    if profile.force_rate_hz is None and not profile.plate_types:
        found.append(Never("force", "forces, the strike index and joint moments", "force plates"))
        found = [one for one in found if one.word not in ("strike_index", "moments")]
    return found


def told_empty(study: Study, site: str | None) -> Iterator[str]:
    """The same in lines of text; none where the laboratory is not known or nothing stays empty."""
    found = empty_at(study.sites[site].profile, study.processing) if site in study.sites else []
    if found:
        yield f"What stays empty in every trial of {site}, by its profile"
        yield from (f"  {one.what}: needs {one.lacks}" for one in found)


def _bare(role: str) -> str:
    return next((role.removesuffix(side) for side in _SIDES if role.endswith(side)), role)


def _pelvis(sided: set[str], roles: set[str], p: Processing) -> bool:
    """Whether the pelvis can be told with its tilt."""
    j = p.joints
    return j.pelvis_front_role in sided and (j.pelvis_back_role in sided or j.pelvis_back_middle_role in roles)


def _lacking(sided: set[str], roles: set[str], p: Processing, wanted: str) -> Iterator[Never]:
    """Outcomes that markers with these roles do not give. sided: those there are on both sides."""
    j = p.joints
    hip = {j.hip_role} if j.hip_role in sided or not _pelvis(sided, roles, p) else set()
    needs = {
        "foot_strike": ("foot strike, and which foot a contact is of", {p.heel_role, p.forefoot_role}),
        "strike_index": ("the strike index", {p.heel_role, p.toe_role}),
        "ankle": ("ankle angles", {p.heel_role, p.forefoot_role, j.ankle_role, j.knee_role}),
        "knee": ("knee angles", {j.ankle_role, j.knee_role} | hip),
        "hip": ("hip angles", {j.knee_role} | hip),
        "moments": ("joint moments", {p.heel_role, p.toe_role, j.ankle_role}),
    }
    for word, (what, needed) in needs.items():
        if lacking := sorted(needed - sided):
            yield Never(word, what, f"{wanted}{', '.join(lacking)}")
    heads = p.marker_events.metatarsal_roles
    if p.heel_role not in sided or not set(heads) & sided:
        yield Never("marker_events", "contacts from foot markers", f"{p.heel_role} and one of {', '.join(heads)}")


def _out_of_plane(sided: set[str], roles: set[str], p: Processing) -> Iterator[Never]:
    """Angles out of the sagittal plane, which need the inner landmarks and the pelvis as well."""
    j = p.joints
    shank = {j.knee_role, j.knee_medial_role, j.ankle_role, j.ankle_medial_role}
    needs = {
        "ankle": shank | {p.heel_role, p.forefoot_role, j.foot_outer_role},
        "knee": shank,
        "hip": {j.knee_role, j.knee_medial_role},
    }
    for joint, needed in needs.items():
        lacking = sorted(needed - sided)
        if joint != "ankle" and not _pelvis(sided, roles, p):
            lacking.append(f"{j.pelvis_front_role} and {j.pelvis_back_role} or {j.pelvis_back_middle_role}")
        if lacking:
            what = f"frontal and transverse {joint} angles"
            yield Never(f"{joint}_out_of_plane", what, f"a label on each side for {', '.join(lacking)}")


def _of_muscles(study: Study) -> Iterator[Never]:
    for pair in study.processing.muscle.co_contraction_pairs:
        if lacking := [muscle for muscle in pair if muscle not in study.muscles]:
            what = f"co-contraction of {pair[0]} and {pair[1]}"
            yield Never("co_contraction", what, f"{', '.join(lacking)} among the muscles")
    if study.muscles and not study.muscle_phases().kinds:
        yield Never(
            "muscle_phases",
            "checks of when muscles are active",
            "a muscle with a SENIAM name whose phase is known, a kind or a phase",
        )
