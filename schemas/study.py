"""The study file and the site profile: what a study decides, as typed, checked, documented settings.

Conditions, visits, muscles, marker roles and sites are data here, never words in code. Every number carries its unit
in its name. Nothing here opens a file; ``pipelines.study.file`` does.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from typing import Literal

from pydantic import Field, model_validator

from schemas.declared import AnyOf, Described, MarkerRole, MuscleSpec, Visit
from schemas.disclosure import Disclosure
from schemas.judging_again import JudgingAgain
from schemas.muscle_phases import PHASES, SENIAM_KINDS, MusclePhases, Phase
from schemas.planned_runners import PlannedRunners, refuse_strangers
from schemas.processing import Processing
from schemas.quota import Quota
from schemas.settings import Settings
from schemas.site_settings import SiteEvents, SiteLimit, contradictions
from schemas.study_codes import StudyCodes

LabAxis = Literal["+x", "-x", "+y", "-y", "+z", "-z"]
Surface = Literal["treadmill", "runway"]
DoneWithout = Literal[
    "foot_strike",
    "strike_index",
    "ankle",
    "knee",
    "hip",
    "moments",
    "marker_events",
    "runway_speed",
    "co_contraction",
    "muscle_phases",
]


class Axes(Settings):
    """Which axis of the lab points which way of the study (ISB: X forward, Y up, Z to the runner's right)."""

    forward: LabAxis = Field(description="Lab axis along the running direction.")
    up: LabAxis = Field(description="Lab axis against gravity.")
    right: LabAxis = Field(description="Lab axis to the runner's right.")

    @model_validator(mode="after")
    def _three_axes_right_handed(self) -> Axes:
        if len({a[1] for a in (self.forward, self.up, self.right)}) != 3:
            raise ValueError("forward, up and right must name three different lab axes")
        order = "".join(a[1] for a in (self.forward, self.up, self.right))
        parity = 1 if order in ("xyz", "yzx", "zxy") else -1
        sign = parity * (-1) ** sum(a[0] == "-" for a in (self.forward, self.up, self.right))
        if sign < 0:
            raise ValueError("the three axes are left-handed; turn one of them round")
        return self


class Cluster(Settings):
    """Markers on one segment, worn standing and running, that carry landmarks worn only while standing."""

    labels: tuple[str, ...] = Field(
        min_length=3,
        description="The site's labels of its markers, three or more that do not lie on one line, and none of another cluster.",
    )
    carries: tuple[str, ...] = Field(
        min_length=1, description="Marker roles with side that it carries, for example greater_trochanter_left."
    )

    def marker_names(self, name: str) -> tuple[str, ...]:
        """What the markers of the cluster called ``name`` go by in a trial: thigh_left.1 and so on."""
        return tuple(f"{name}.{number}" for number in range(1, len(self.labels) + 1))


class SiteProfile(Settings):
    """How one site records: its axes, rates, plates and marker labels."""

    site: str = Field(description="Short name of the site, as in the study file.")
    description: str = Field(default="", description="The equipment in a few words.")
    surface: Surface = Field(description="treadmill or runway.")
    axes: Axes = Field(description="Rotation from the lab's axes to the study's.")
    runs_both_ways: bool = Field(
        default=False,
        description="Whether runners pass in both directions; then a trial run backwards along 'forward' is turned about the vertical.",
    )
    marker_rate_hz: float = Field(gt=0, description="Marker frames per second.")
    force_rate_hz: float | None = Field(
        default=None, gt=0, description="Force samples per second; leave out without force plates."
    )
    plate_types: tuple[int, ...] = Field(default=(), description="C3D type of each force plate, in file order.")
    markers: dict[str, str] = Field(
        description="Marker role with side, for example calcaneus_left, to the site's label in the file."
    )
    clusters: dict[str, Cluster] = Field(
        default_factory=dict,
        description="Clusters of markers, by a name such as thigh_left, that carry landmarks which are worn only while standing.",
    )

    @model_validator(mode="after")
    def _clusters_that_can_carry(self) -> SiteProfile:
        carriers: dict[str, str] = {}
        worn: dict[str, str] = {}
        for name, cluster in self.clusters.items():
            if not re.fullmatch(r"[a-z][a-z0-9_]*", name):
                raise ValueError(f"clusters.{name}: small letters, digits and underscores, such as thigh_left")
            if len(set(cluster.labels)) < len(cluster.labels):
                raise ValueError(f"clusters.{name}: each label once")
            for label in cluster.labels:
                if label in worn:
                    raise ValueError(f"clusters.{name}: {label} is worn by {worn[label]} already, on another segment")
                worn[label] = name
            for role in cluster.carries:
                if role not in self.markers:
                    raise ValueError(f"clusters.{name} carries {role}, to which markers gives no label")
                if role in carriers:
                    raise ValueError(f"clusters.{name}: {role} is carried by {carriers[role]} already")
                if self.markers[role] in cluster.labels:
                    raise ValueError(f"clusters.{name}: {role} is one of the markers that carry it")
                carriers[role] = name
        return self

    @property
    def carried(self) -> frozenset[str]:
        """Every role that a cluster carries."""
        return frozenset(role for cluster in self.clusters.values() for role in cluster.carries)


class Site(Settings):
    """A site of the study. ``profile`` is read from the file named in the study file."""

    description: str = Field(description="The site in a few words.")
    profile: SiteProfile = Field(description="How it records; in the study file, the path of the profile.")
    limits: dict[str, dict[str, SiteLimit]] = Field(
        default_factory=dict,
        description="Thresholds of checks that differ from the study's at this site: check name, then threshold.",
    )
    events: SiteEvents | None = Field(
        default=None, description="How events are found in its force, if not as the study does."
    )
    silent_after_days: int | None = Field(
        default=None,
        ge=1,
        description="After so many days without a delivery the site is reported as silent; left out, never.",
    )


class Study(Settings):
    """The study file."""

    id: str = Field(
        default="",
        description="The word by which a depot knows that it is this study's, whatever its title becomes; left out, the title is.",
    )
    title: str = Field(description="Name of the study.")
    version: str = Field(description="Version of this file; raise it with every change.")
    invented: bool = Field(default=False, description="Set for demonstration data, so that every page says so.")
    citation: str = Field(default="", description="How to cite the study.")
    known_texts: tuple[str, ...] = Field(
        default=(),
        description="Texts that recording programs write into every file and that tell of nobody; any other text that is neither a code, a number nor words of the trade is held until a person has looked at it.",
    )
    codes: StudyCodes = Field(default_factory=StudyCodes, description="How codes of runners and trials are written.")
    consent_forms: tuple[str, ...] = Field(
        default=(),
        description="Versions of the consent form that runners may sign. Consent in consents.csv, and consent given anew after a withdrawal, counts only by one of them; left out, by any plain version such as 2 or 2.1.",
    )
    conditions: dict[str, Described] = Field(description="Footwear conditions.")
    visits: dict[str, Visit] = Field(description="Visits of the plan.")
    muscles: dict[str, MuscleSpec] = Field(default_factory=dict, description="Muscles, by SENIAM name.")
    marker_roles: dict[str, MarkerRole] = Field(description="Anatomical landmarks.")
    requires_any: dict[str, AnyOf] = Field(
        default_factory=dict,
        description="What every site has to give in one way of several, by a name such as hip_centre; a trial without the way of its site goes back.",
    )
    sites: dict[str, Site] = Field(description="Sites.")
    planned_runners: PlannedRunners = Field(
        default_factory=dict,
        description="How many runners are planned: site, then visit, then condition. What is left out is not planned.",
    )
    processing: Processing = Field(default_factory=Processing, description="How signals become outcomes.")
    does_without: tuple[DoneWithout, ...] = Field(
        default=(),
        description="What the study's markers and muscles can never give and the study can do without; anything else that they can never give is refused when the study is read.",
    )
    limits: dict[str, dict[str, float]] = Field(
        default_factory=dict,
        description="Thresholds of checks that differ from their defaults: check name, then threshold.",
    )
    smallest_cell: int = Field(
        default=5,
        ge=1,
        description="What describes runners is in a release only where this many share it (common practice: 5 to 10).",
    )
    disclosure: Disclosure = Field(default_factory=Disclosure, description="How exactly releases tell who runners are.")
    judging_again: JudgingAgain = Field(
        default_factory=JudgingAgain, description="When judging again needs somebody to say yes."
    )
    answer_within_days: int | None = Field(
        default=None,
        ge=1,
        description="By when letters ask sites for what goes back, in days from its receipt; left out, they name no day.",
    )
    trial_time_limit_s: float = Field(
        default=60.0, gt=0, description="Reading and judging one trial may take this long."
    )
    trial_memory_limit_mb: int = Field(
        default=2048, ge=256, description="Memory that reading one trial, or opening one delivery, may take, in MiB."
    )
    delivery: Quota = Field(default_factory=Quota, description="How much one delivery may be.")

    @model_validator(mode="after")
    def _names_that_are_known(self) -> Study:
        named = {"processing.transition.new_footwear": self.processing.transition.new_footwear}
        if self.processing.contrasts.reference_condition is not None:
            named["processing.contrasts.reference_condition"] = (self.processing.contrasts.reference_condition,)
        for setting, words in named.items():
            if unknown := [word for word in words if word not in self.conditions]:
                raise ValueError(f"{setting} names {', '.join(unknown)}, which is not among the conditions")
        refuse_strangers(self.planned_runners, self.sites, self.visits, self.conditions)
        return self

    @model_validator(mode="after")
    def _ways_of_known_roles(self) -> Study:
        for name, group in self.requires_any.items():
            if unknown := sorted({role for way in group.ways for role in way} - set(self.marker_roles)):
                raise ValueError(f"requires_any.{name} names {', '.join(unknown)}, which is not among marker_roles")
        return self

    @model_validator(mode="after")
    def _settings_that_work_together(self) -> Study:
        for name, site in self.sites.items():
            rates = site.profile.marker_rate_hz, site.profile.force_rate_hz
            own = self.limits_of("plates_read_zero_unloaded", name)
            if wrong := list(contradictions(name, self.processing_at(name), own, rates)):
                raise ValueError("; ".join(wrong))
        return self

    @property
    def known_by(self) -> str:
        """By what a depot knows the study again: its id, or its title."""
        return " ".join((self.id or self.title).split())

    def limits_of(self, check: str, site: str | None) -> dict[str, float]:
        """Thresholds of a check that differ from its defaults: the study's, over which the laboratory's own win."""
        own = self.sites[site].limits.get(check, {}) if site in self.sites else {}
        return {**self.limits.get(check, {}), **{name: limit.value for name, limit in own.items()}}

    def processing_at(self, site: str | None) -> Processing:
        """How signals of a laboratory become outcomes: as the study says, but for what its force needs."""
        own = self.sites[site].events if site in self.sites else None
        return self.processing.model_copy(update=own.changes) if own is not None else self.processing

    def muscle_phases(self) -> MusclePhases:
        """When its muscles are active: of those whose kind or phase is declared or known by the SENIAM name."""
        kinds: dict[str, str] = {}
        phases: dict[str, Phase] = {}
        for name, spec in self.muscles.items():
            kind = name if spec.phase is not None else spec.kind or SENIAM_KINDS.get(name)
            if kind is not None:
                kinds[name] = kind
                phases[kind] = spec.phase if spec.phase is not None else PHASES[kind]
        return MusclePhases(kinds, phases)

    def words(self, study_list: str) -> tuple[str, ...]:
        """The allowed words of a ``study_list`` column, for example ``conditions``."""
        return tuple(getattr(self, study_list))

    def roles_with_side(self, *, required_only: bool = False) -> tuple[str, ...]:
        """Every marker name a profile may map, for example calcaneus_left."""
        return self._sided(role for role, spec in self.marker_roles.items() if spec.required or not required_only)

    def required_at(self, site: str | None) -> tuple[str, ...]:
        """Every marker name that a trial of ``site`` needs: those of all sites, and its way of each of ``requires_any``."""
        own = self.sites[site].profile.markers if site in self.sites else {}
        ways = [self.way_of(name, own) or () for name in self.requires_any]
        both = (*self.roles_with_side(required_only=True), *(name for way in ways for name in self._sided(way)))
        return tuple(dict.fromkeys(both))

    def way_of(self, name: str, labelled: Collection[str]) -> tuple[str, ...] | None:
        """The first way of a group of ``requires_any`` whose roles are all labelled; None if there is none."""
        ways = self.requires_any[name].ways
        return next((way for way in ways if set(self._sided(way)) <= set(labelled)), None)

    def _sided(self, roles: Iterable[str]) -> tuple[str, ...]:
        """Roles as profiles name them."""
        both = ((role, self.marker_roles[role].sided) for role in roles)
        return tuple(n for role, sided in both for n in ((f"{role}_left", f"{role}_right") if sided else (role,)))
