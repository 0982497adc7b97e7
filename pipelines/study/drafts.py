"""Profiles of sites: whether they fit the study, which lines a person still has to fill in, what is said until then.

A line that begins with ``#?`` is open. ``manystrides init`` writes profiles of nothing else, ``manystrides profile``
drafts them from recordings. While one is not finished, the study is used without its site.
"""

from __future__ import annotations

import difflib
import json
import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from pipelines.errors import Unusable
from pipelines.study.reading import Fault, in_plain_words, parse, read_bytes
from schemas.study import Axes, SiteProfile, Study

#: Begins a line that a person has to fill in, after its indent.
OPEN = "#?"
MISSING = "is missing"
_LINE = re.compile(rb"^[ \t]*#\?", re.MULTILINE)


@dataclass(frozen=True)
class Draft:
    """An unfinished profile. settings: as far as it is filled in. lacks: settings that are required and not there.

    wrong: what is filled in and cannot be used, in words.
    """

    site: str
    path: Path
    settings: Mapping[str, Any] = field(repr=False)
    lacks: tuple[str, ...] = ()
    wrong: tuple[str, ...] = ()

    def told(self) -> str:
        """What to say of it, for the data manager and the site's lead."""
        lacks = [f"it lacks {', '.join(self.lacks)}"] if self.lacks else []
        return (
            f"The profile of site {self.site} is a draft: {'; '.join([*lacks, *self.wrong])}. Until it is finished "
            f"nothing of {self.site} can be taken in. Fill in {self.path}: correct each line that begins with {OPEN} "
            "and take the mark away, or delete it where there is no such marker."
        )


def quoted(value: str) -> str:
    """A text that YAML reads as it is; JSON's form is one."""
    return json.dumps(value, ensure_ascii=False)


def open_lines(profile: bytes) -> int:
    """How many lines of a profile are open."""
    return len(_LINE.findall(profile))


def is_untouched(path: Path) -> bool:
    """Whether a profile is as ``manystrides init`` wrote it: nothing but what it was told is filled in."""
    if path.is_symlink() or not path.is_file():
        return False
    data = read_bytes(path, "site profile")
    filled = {name for name, value in parse(data, path, "site_profile.md").items() if value is not None}
    return bool(open_lines(data)) and filled <= {"site", "description"}


def looked_at(draft: Draft, study: Study) -> SiteProfile | Draft:
    """The profile, if it can be used in spite of open lines (those of markers a laboratory may do without).

    Else the draft with what is still to be done.
    """
    wrong: list[str] = []
    try:
        profile = SiteProfile.model_validate(draft.settings)
    except ValidationError as error:
        for one in error.errors():
            if one["type"] != "missing" and one["input"] is not None:
                fault = in_plain_words(dict(one), SiteProfile)
                wrong.append(f"{fault.place} {fault.seen}, expected {fault.expected}")
    else:
        faults = [f for f in profile_faults(draft.site, profile, study) if f.seen != MISSING]
        wrong += [f"{fault.place} {fault.seen}, expected {fault.expected}" for fault in faults]
        if not wrong and not any(_lacking(draft.settings, study)):
            return profile
    return replace(draft, lacks=tuple(_lacking(draft.settings, study)), wrong=tuple(wrong))


def _lacking(settings: Mapping[str, Any], study: Study) -> Iterator[str]:
    """Settings of a profile that are required and not given, in the order of the definition."""
    groups: dict[str, Iterable[str]] = {
        "axes": Axes.model_fields,
        "markers": study.roles_with_side(required_only=True),
    }
    for name, spec in SiteProfile.model_fields.items():
        given = settings.get(name)
        if name in groups:
            inside = given if isinstance(given, dict) else {}
            yield from (f"{name}.{one}" for one in groups[name] if inside.get(one) is None)
        elif given is None and (spec.is_required() or (name == "force_rate_hz" and settings.get("plate_types"))):
            yield name


def profile_faults(name: str, profile: SiteProfile, study: Study) -> Iterator[Fault]:
    """Settings of a profile that do not fit the study. name: as the study file calls the site."""
    place = f"sites.{name}.profile"
    if profile.site != name:
        yield Fault(place, f"is the profile of site {profile.site!r}", f"the profile of site {name!r}")
    known = study.roles_with_side()
    for role in profile.markers:
        if role not in known:
            yield Fault(f"{place}: markers.{role}", "is not a marker of the study", _role_hint(role, known))
    for role in study.roles_with_side(required_only=True):
        if role not in profile.markers:
            yield Fault(f"{place}: markers.{role}", MISSING, "the site's label, since the study requires it")
    for group, spec in study.requires_any.items():
        if study.way_of(group, profile.markers) is None:
            yield Fault(f"{place}: markers", f"gives no {group}", ways_in_words(spec.ways))
    labels = list(profile.markers.values())
    for label in sorted({label for label in labels if labels.count(label) > 1}):
        yield Fault(f"{place}: markers", f"gives label {label!r} to {labels.count(label)} roles", "one role each")
    if profile.plate_types and profile.force_rate_hz is None:
        yield Fault(f"{place}: force_rate_hz", MISSING, "a rate, since the profile names force plates")


def ways_in_words(ways: Iterable[Iterable[str]]) -> str:
    """The ways of which a site has to give one."""
    return f"the labels of {', or of '.join(' and '.join(way) for way in ways)}, on both sides"


def _role_hint(role: str, known: tuple[str, ...]) -> str:
    near = difflib.get_close_matches(role, known, n=1)
    return f"perhaps {near[0]}" if near else "a role of marker_roles, with _left or _right where it has sides"


def told(drafts: Iterable[Draft]) -> tuple[str, ...]:
    """What to say of each."""
    return tuple(draft.told() for draft in drafts)


def refuse_unfinished(drafts: Iterable[Draft], site: str | None, others: Collection[str]) -> None:
    """Raises Unusable if the profile of ``site`` is a draft, or if that of every site is. others: the finished."""
    drafted = {draft.site: draft for draft in drafts}
    draft = drafted.get(site or "", next(iter(drafted.values()), None) if not others else None)
    if draft is not None:
        expected = "a finished profile; manystrides profile drafts it from a few of the site's own recordings."
        raise Unusable(draft.told(), expected, "Finish the profile first.", file=draft.path)
