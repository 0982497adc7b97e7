"""The files of a new study as text: study file, a profile without answers for each site, analysis plan.

Each setting stands under a comment that says what it decides. Free words are quoted as JSON does, which YAML reads.
"""

from __future__ import annotations

import hashlib
import re
import textwrap
from collections.abc import Iterator

from pipelines.beginning.wanted import Named, Wanted
from pipelines.study.drafts import OPEN, quoted
from schemas.study import Axes, SiteProfile, Study

_WIDTH = 110
_PAIRS = (("gastrocnemius_medialis", "tibialis_anterior"), ("soleus", "tibialis_anterior"))
#: Of processing: value, and where it is from.
_FILTERS = {
    "marker_cutoff_hz": (20, "common practice for the foot in running"),
    "force_cutoff_hz": (50, "common practice for running; it lowers a sharp impact peak"),
    "event_cutoff_hz": (50, "as for peaks; on a real belt raw samples made contacts 7 ms too long"),
    "contact_threshold_n": (20, "common practice"),
}
#: role -> whether there is one on each side, whether a trial without it goes back, and where the marker sits.
_ROLES: dict[str, tuple[bool, bool, str]] = {
    "calcaneus": (True, True, "Back of the heel, upper ridge of the calcaneus."),
    "second_metatarsal_head": (True, True, "Top of the foot over the second metatarsal head."),
    "fifth_metatarsal_head": (True, True, "Outer side of the fifth metatarsal head."),
    "first_metatarsal_head": (True, False, "Inner side of the first metatarsal head."),
    "lateral_malleolus": (True, False, "Tip of the lateral malleolus."),
    "medial_malleolus": (True, False, "Tip of the medial malleolus."),
    "lateral_femoral_epicondyle": (True, False, "Lateral epicondyle of the femur."),
    "medial_femoral_epicondyle": (True, False, "Medial epicondyle of the femur."),
    "greater_trochanter": (True, False, "Greater trochanter of the femur."),
    "anterior_superior_iliac_spine": (True, False, "Anterior superior iliac spine."),
    "posterior_superior_iliac_spine": (True, False, "Posterior superior iliac spine."),
    "sacrum": (False, False, "Midpoint between the posterior superior iliac spines."),
}

_LONGEST_SLUG = 40


def study_text(wanted: Wanted) -> str:
    """The study file."""
    return "\n".join(_study(wanted)) + "\n"


def profile_text(site: Named, wanted: Wanted) -> str:
    """The profile of one site, all of it open."""
    return "\n".join(_profile(site, wanted)) + "\n"


def plan_text(wanted: Wanted) -> str | None:
    """The analysis plan with one comparison as a proposal; None where there is nothing to compare."""
    if len(wanted.conditions) < 2 and len(wanted.visits) < 2:
        return None
    return "\n".join(_plan(wanted)) + "\n"


def slug(title: str) -> str:
    """A short word made of a title, by which a depot knows its study.

    Where letters of the title are lost, or nothing is left of it, some of its checksum tells it from others like it.
    """
    words = re.findall(r"[a-z0-9]+", title.lower())
    plain = "_".join(word for word in words if word not in ("the", "a", "of", "study"))
    if plain and title.isascii() and len(plain) <= _LONGEST_SLUG:
        return plain
    digest = hashlib.sha256(" ".join(title.split()).encode()).hexdigest()[:8]
    return f"{plain[: _LONGEST_SLUG - 9].rstrip('_') or 'study'}_{digest}"


def _comment(text: str, indent: str = "") -> Iterator[str]:
    yield from textwrap.wrap(text, _WIDTH, initial_indent=f"{indent}# ", subsequent_indent=f"{indent}# ")


def _meant(settings: type[Study] | type[SiteProfile] | type[Axes], name: str, indent: str = "") -> Iterator[str]:
    """What the definition says of a setting."""
    yield from _comment(str(settings.model_fields[name].description), indent)


def _study(wanted: Wanted) -> Iterator[str]:
    yield from _comment(
        "The study file: what the study decides. Every setting is explained in docs/reference/study_file.md; "
        "those that are left out have the defaults given there. Correct what was guessed, and raise the "
        "version with every change."
    )
    for name, value in (("id", slug(wanted.title)), ("title", wanted.title), ("version", "1")):
        yield from _meant(Study, name)
        yield f"{name}: {quoted(value)}"
    yield ""
    yield from _comment("How runners' codes are written: never by anything that leads to the person.")
    yield "codes:"
    yield f"  runner: {quoted(wanted.prefix + '-[0-9]{2,5}')}"
    yield ""
    yield from _meant(Study, "consent_forms")
    yield from _comment(
        "What a runner agrees to is sent row by row in consents.csv, by these scopes: see its page in "
        "docs/reference/tables."
    )
    yield f"consent_forms: [{', '.join(map(quoted, wanted.forms))}]"
    yield from _named("conditions", wanted.conditions, "What runners wear. Say what exactly, one model or many.")
    yield ""
    yield "visits:"
    for visit in wanted.visits:
        yield f'  {visit.name}: {{planned_week: {visit.week}, description: ""}}'
    yield from _muscles(wanted)
    yield ""
    yield from _comment(
        "Landmarks that sites mark. required: true sends a trial without it back to its site; leave it out "
        "where a site may do without. What stays empty without a landmark is said when a profile is drafted "
        "and by manystrides check."
    )
    yield "marker_roles:"
    for role, (sided, required, where) in _ROLES.items():
        marks = ["required: true"] if required else []
        marks += [] if sided else ["sided: false"]
        yield f"  {role}: {{{', '.join([*marks, f'description: {quoted(where)}'])}}}"
    yield ""
    yield from _comment(
        "What each site has to give in one way of several; a trial without the way of its site goes back to it."
    )
    yield "# requires_any:"
    yield "#   hip_centre:"
    yield "#     description: By the trochanter, or from the pelvis."
    yield "#     ways: [[greater_trochanter], [anterior_superior_iliac_spine, posterior_superior_iliac_spine]]"
    yield ""
    yield from _comment("The profile of a site says how it records. While one is a draft, the others can go on.")
    yield "sites:"
    for site in wanted.sites:
        description = quoted(site.description or "Say which kind of laboratory.")
        yield f"  {site.name}: {{description: {description}, profile: sites/{site.name}.yaml}}"
    yield from _planned(wanted)
    yield ""
    yield from _processing(wanted)


def _planned(wanted: Wanted) -> Iterator[str]:
    if wanted.planned is None:
        return
    yield ""
    yield from _meant(Study, "planned_runners")
    yield "planned_runners:"
    each = ", ".join(f"{one.name}: {wanted.planned}" for one in wanted.conditions)
    for site in wanted.sites:
        yield f"  {site.name}:"
        yield from (f"    {visit.name}: {{{each}}}" for visit in wanted.visits)


def _named(group: str, names: tuple[Named, ...], what: str) -> Iterator[str]:
    yield ""
    yield from _comment(what)
    yield f"{group}:"
    for one in names:
        yield f"  {one.name}: {{description: {quoted(one.description or 'To be described.')}}}"


def _muscles(wanted: Wanted) -> Iterator[str]:
    if not wanted.muscles:
        return
    yield ""
    yield from _comment("By SENIAM names, for which it is known when they are active in running.")
    yield "muscles:"
    for muscle in wanted.muscles:
        yield f"  {muscle}: {{description: {quoted(muscle.replace('_', ' ').capitalize() + '.')}}}"


def _processing(wanted: Wanted) -> Iterator[str]:
    yield from _comment(
        "How signals become outcomes; more settings, with their sources, in docs/reference/study_file.md. "
        "Agree on filters before the first delivery: they are the same for all sites."
    )
    yield "processing:"
    for name, (value, why) in _FILTERS.items():
        yield f"  {name}: {value}  # {why}"
    pairs = [pair for pair in _PAIRS if set(pair) <= set(wanted.muscles)]
    if wanted.muscles:
        yield "  muscle:"
        yield "    normalisation: dynamic_peak"
        yield f"    reference_condition: {wanted.conditions[0].name}"
        if pairs:
            yield f"    co_contraction_pairs: [{', '.join(f'[{a}, {b}]' for a, b in pairs)}]"
    if wanted.changed_to:
        yield from _comment("Weekly questions add up minutes in these. Cautions are no diagnosis.", "  ")
        yield "  transition:"
        yield f"    new_footwear: [{', '.join(wanted.changed_to)}]"
    yield "  contrasts:"
    yield f"    reference_condition: {wanted.conditions[0].name}"


def _profile(site: Named, wanted: Wanted) -> Iterator[str]:
    yield from _comment(
        f"Profile of site {site.name}: not finished. A line that begins with {OPEN} is open: correct it and "
        "take the mark away, or delete it where it is not so at your site. manystrides profile fills most of "
        "it in from a few of your own recordings."
    )
    yield f"site: {quoted(site.name)}"
    yield from _meant(SiteProfile, "description")
    yield f"description: {quoted(site.description)}"
    for name, example in (("surface", "treadmill"), ("runs_both_ways", "false"), ("marker_rate_hz", "200")):
        yield from _meant(SiteProfile, name)
        yield f"{OPEN} {name}: {example}"
    if wanted.force:
        for name, example in (("force_rate_hz", "1000"), ("plate_types", "[2]")):
            yield from _meant(SiteProfile, name)
            yield f"{OPEN} {name}: {example}"
    yield from _meant(SiteProfile, "axes")
    yield "axes:"
    for name, example in (("forward", "+x"), ("up", "+z"), ("right", "-y")):
        yield from _meant(Axes, name, "  ")
        yield f"  {OPEN} {name}: {quoted(example)}"
    yield from _meant(SiteProfile, "markers")
    yield "markers:"
    for role, (sided, required, where) in _ROLES.items():
        yield from _comment(f"{where} {'Required.' if required else 'If you mark it.'}", "  ")
        for side in ("_left", "_right") if sided else ("",):
            yield f'  {OPEN} {role}{side}: "your label"'


def _plan(wanted: Wanted) -> Iterator[str]:
    first, later = wanted.visits[0].name, [visit.name for visit in wanted.visits[1:]]
    reference, others = wanted.conditions[0].name, [one.name for one in wanted.conditions[1:]]
    yield from _comment(
        "The analysis plan: what the study asks, decided before anybody looks at an answer. What stands here "
        "is a proposal with one outcome; put yours in its place, then freeze it with manystrides plan freeze."
        " Every setting is explained in docs/reference/analysis_plan.md."
    )
    yield 'version: "1"'
    yield "primary:"
    if others:
        yield f"  - {{outcome: contact_time_s, visit: {first}, condition: {others[0]}}}"
        if later:
            yield from _comment("Whether the difference changes over the weeks:", "  ")
            yield f"  - {{outcome: contact_time_s, contrast: interaction, visit: {later[-1]}, condition: {others[0]}}}"
    else:
        yield f"  - {{outcome: contact_time_s, contrast: visit, visit: {later[-1]}, condition: {reference}}}"
    yield from _comment("smallest_effect: the smallest difference that matters, in the outcome's unit, for each line.")
    yield "pooling_model: one_stage_mixed_model"
    yield "multiplicity: {primary: holm, secondary: benjamini_hochberg}"
