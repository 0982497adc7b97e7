"""Names that stand for more than one thing in a recording's files: which of them are read, and whether it matters."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from checks.registry import Weight
from checks.self_description.rule import Contradiction
from pipelines.science.signals.labels import plain
from schemas.self_description import Twin

#: Groups whose parameters decide what the numbers of a C3D file mean.
READ_GROUPS = ("POINT", "ANALOG", "FORCE_PLATFORM", "TRIAL", "EVENT")
#: kind -> how it is called, and when a trial goes back; all others are noted. The rows of the table of statements.
KINDS = {
    "point": ("points with one label", "the site's profile names the label and the points differ"),
    "channel": ("channels with one label", "channels.csv names the label and the channels differ"),
    "parameter": (
        "parameters with one name in a group",
        f"they differ and the group is one that is read ({', '.join(READ_GROUPS)})",
    ),
    "group": ("groups with one name", ""),
    "group number": ("groups with one number", f"one of them is a group that is read ({', '.join(READ_GROUPS)})"),
}
#: kind -> what was done, where it is not that the first was read
DONE = {"group number": "the parameters of all of them were given to the one named last, and the others are empty"}


def contradictions(
    twins: Collection[Twin], labels: Collection[str], channels: Collection[str]
) -> Iterator[Contradiction]:
    """What is wrong with names. labels: of points that the profile asks for; channels: that channels.csv asks for."""
    for kind, (words, _) in KINDS.items():
        own = [twin for twin in twins if twin.kind == kind]
        serious = [t for t in own if not t.alike and _is_read(t, labels, channels)]
        light = [t for t in own if t not in serious]
        if serious:
            yield Contradiction(
                f"There are {words}: {_listed(serious)}; {DONE.get(kind, 'they differ and the first was read')}",
                Weight.RETURNS,
                words,
            )
        if light:
            yield Contradiction(
                f"There are {words}: {_listed(light)}; nothing that is read depends on it", Weight.NOTES, words
            )


def _is_read(twin: Twin, labels: Collection[str], channels: Collection[str]) -> bool:
    if twin.kind == "parameter":
        return twin.name.partition(":")[0] in READ_GROUPS
    if twin.kind == "group number":
        return not set(READ_GROUPS).isdisjoint(twin.spellings)
    wanted = {plain(label) for label in {"point": labels, "channel": channels}.get(twin.kind, ())}
    own = {plain(twin.name)}
    if twin.kind == "point":  # a label is also looked for behind the name of a subject
        own.add(plain(twin.name.rpartition(":")[2]))
    return not own.isdisjoint(wanted)


def _listed(twins: list[Twin]) -> str:
    """All of them, since each is mended on its own; after twelve only how many more."""
    shown = ", ".join(_shown(t) for t in twins[:12])
    return shown + (f" and {len(twins) - 12} more" if len(twins) > 12 else "")


def _shown(twin: Twin) -> str:
    if twin.kind == "group number":
        return f"{twin.name} ({' and '.join(twin.spellings)})"
    spelled = " and ".join(repr(s) for s in twin.spellings) if len(twin.spellings) > 1 else twin.name
    return f"{spelled} ({twin.count} times)"
