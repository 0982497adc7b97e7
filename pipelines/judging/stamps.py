"""What a result was made with, as far as another value of it could have made another result; how two of them differ.

Of a delivery: ``science`` and ``checks`` (the sources that ran), ``profile`` (how its laboratory records), ``settings``
(what judging reads of the study file) and ``names`` (the list of names beside it). Of a trial: its ``files``, ``rows``,
``posture``, ``references``; and of these what other deliveries lent it (``borrowed``) and what it gives (``gives``).
Which settings judging does not read is listed here, closed: a setting that is not listed counts. Pure; when a
delivery is due is in ``pipelines.taking_in.due``.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from checks.registry import Subject, catalogue
from pipelines.identity.names import KnownNames
from schemas.study import Site, SiteProfile, Study
from schemas.trial import Posture

if TYPE_CHECKING:
    from pipelines.judging.judge import TrialJob
    from pipelines.science.muscles.amplitudes import Reference
    from pipelines.science.muscles.signal import Key

SCIENCE, CHECKS, PROFILE, SETTINGS, NAMES = "science", "checks", "profile", "settings", "names"
#: What the trials of one delivery are made with alike.
OF_A_DELIVERY = (SCIENCE, CHECKS, PROFILE, SETTINGS, NAMES)
#: The study's title, with which only a delivery that was stopped is made: a bag of another study is.
TITLE = "title"

#: Settings no trial is judged by: they are shown, or read where all deliveries are pooled. A star stands for one name.
NOT_READ_BY_JUDGING = (
    "id",
    "title",  # compared with bag-info.txt when a delivery arrives, never again
    "version",
    "invented",
    "citation",
    "smallest_cell",
    "disclosure",
    "judging_again",
    "answer_within_days",
    "planned_runners",
    "conditions.*.description",
    "visits.*.description",
    "muscles.*.description",
    "marker_roles.*.description",
    "processing.contrasts",
    "processing.transition",
    "sites",  # a delivery's own laboratory is added apart
)
_OF_THE_OWN_SITE_NOT_READ = (
    "description",
    "profile",
    "limits.*.*.reason",
    "limits.*.*.since",
    "events.reason",
    "events.since",
    "silent_after_days",
)
_OF_A_PROFILE_NOT_READ = ("description",)
_MOST_NAMED = 3


@dataclass(frozen=True)
class Used:
    """One thing a result was made with. content: place in it -> its value as text; digest: 16 hex over both."""

    what: str
    content: Mapping[str, str]

    @property
    def digest(self) -> str:
        """Equal if and only if the content is."""
        return _digest(sorted(self.content.items()))


def made(used: Mapping[str, Used]) -> str:
    """One word for all that a delivery is made with."""
    return _digest(sorted((what, one.digest) for what, one in used.items()))


def made_today(study: Study, names: KnownNames, sources: Mapping[str, Mapping[str, str]]) -> frozenset[str]:
    """``made`` of each laboratory of the study."""
    return frozenset(made(of_delivery(study, site, names, sources)) for site in study.sites)


def of_delivery(
    study: Study, site: str | None, names: KnownNames, sources: Mapping[str, Mapping[str, str]]
) -> dict[str, Used]:
    """What a delivery of ``site`` judged now is made with. sources: ``pipelines.versions.judging_sources()``."""
    own = study.sites.get(site) if site is not None else None
    profile = profile_content(own.profile) if own is not None else {}
    found = (
        Used(SCIENCE, sources[SCIENCE]),
        Used(CHECKS, sources[CHECKS]),
        Used(PROFILE, profile),
        Used(SETTINGS, settings_content(study, site)),
        Used(NAMES, _names_content(names)),
    )
    return {used.what: used for used in found}


def _names_content(names: KnownNames) -> dict[str, str]:
    """The whole list under one digest: the names themselves are not noted."""
    return {"": _digest([sorted(own) for own in vars(names).values()])} if names else {}


def profile_content(profile: SiteProfile) -> dict[str, str]:
    """What judging reads of a profile, place by place; how the file is laid out changes nothing."""
    return _content(profile.model_dump(mode="json"), _OF_A_PROFILE_NOT_READ)


def settings_content(study: Study, site: str | None) -> dict[str, str]:
    """What judging a delivery of ``site`` reads of the study file, place by place."""
    whole = study.model_dump(mode="json")
    content = _content(whole, NOT_READ_BY_JUDGING)
    own = study.sites.get(site) if site is not None else None
    if own is not None:
        content |= {f"sites.{site}.{place}": value for place, value in _own_limits(own).items()}
    pooled = _checks_of_whole_sites(content)
    return {place: value for place, value in content.items() if not place.startswith(pooled)}


def _own_limits(site: Site) -> dict[str, str]:
    return _content(site.model_dump(mode="json"), _OF_THE_OWN_SITE_NOT_READ)


def _checks_of_whole_sites(content: Mapping[str, str]) -> tuple[str, ...]:
    """Places of thresholds that no trial is judged by, since their checks look at the pool."""
    limits = re.compile(r"((?:sites\.[^.]+\.)?limits\.([^.]+))(?:\.|$)")
    found = {m[1] for place in content if (m := limits.match(place)) and _is_about_sites(m[2])}
    return tuple(f"{place}." for place in found) + tuple(found)


def _is_about_sites(check: str) -> bool:
    spec = catalogue().get(check)
    return spec is not None and spec.about is Subject.SITE


def _content(settings: Mapping[str, Any], not_read: Iterable[str]) -> dict[str, str]:
    patterns = [re.compile(re.escape(one).replace(r"\*", r"[^.]+") + r"(\..+)?") for one in not_read]
    return {place: value for place, value in _leaves(settings, "") if not any(p.fullmatch(place) for p in patterns)}


def _leaves(group: Mapping[str, Any], place: str) -> Iterator[tuple[str, str]]:
    """Every value by its place; a group of named things also counts by its names alone."""
    for name, value in group.items():
        own = f"{place}.{name}" if place else str(name)
        if isinstance(value, Mapping):
            yield own, ""
            yield from _leaves(value, own)
        else:
            yield own, json.dumps(value, sort_keys=True)


def changed_places(before: Mapping[str, str], now: Mapping[str, str]) -> list[str]:
    """Places whose value differs, in order; of a group that came or went only the group."""
    differing = sorted(p for p in {*before, *now} if before.get(p) != now.get(p))
    whole = [p for p in differing if (p in before) != (p in now) and "" in (before.get(p), now.get(p))]
    return [p for p in differing if not any(p.startswith(f"{group}.") for group in whole)]


def reason(now: Used, before: Mapping[str, str] | None, site: str | None) -> str:
    """Why a result made with other content is due, in a sentence. before: what it was made with, None if not known."""
    if now.what == PROFILE and not now.content:
        return f"{site} is no site of the study file any more."
    about = {
        SCIENCE: "The science changed",
        CHECKS: "Checks changed",
        PROFILE: f"The profile of {site} changed",
        SETTINGS: "Settings changed",
        NAMES: "The list of names changed",
        TITLE: "The title of the study changed",
    }[now.what]
    places = [p for p in changed_places(before, now.content) if p] if before is not None else []
    if not places:
        return f"{about}."
    named = ", ".join(places[:_MOST_NAMED])
    more = f" and {len(places) - _MOST_NAMED} more" if len(places) > _MOST_NAMED else ""
    return f"{about}: {named}{more}."


def of_trial(job: TrialJob) -> dict[str, str]:
    """What one trial is judged with beyond what its delivery shares: what -> digest.

    ``files``: its file and second file; ``rows``: what the tables say of it; ``posture``: of the standing trial;
    ``references``: what muscle amplitudes are divided by.
    """
    row = job.row
    return {
        "files": _digest([row.raw_sha256, job.second_sha256]),
        "rows": _digest([repr(row), job.second_file, repr(job.channel_rows)]),
        "posture": posture_digest(job.posture),
        "references": references_digest(job.references),
    }


def references_digest(references: Mapping[Key, Reference]) -> str:
    """Equal for the same amplitudes of the same muscles; empty without any."""
    return _digest(sorted(repr(item) for item in references.items())) if references else ""


def posture_digest(posture: Posture | None) -> str:
    """Equal for postures of the same trial with the same marker places; empty without one."""
    if posture is None:
        return ""
    places = [(name, [float(v) for v in place]) for name, place in sorted(posture.markers.items())]
    return _digest([posture.trial_id, posture.condition, places])


def _digest(value: Any) -> str:
    return hashlib.sha256(json.dumps(value, sort_keys=True, default=str).encode()).hexdigest()[:16]
