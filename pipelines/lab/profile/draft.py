"""From a folder of recordings to the text of a drafted site profile; every line with its evidence.

A setting that is sure or likely is a value; one that is not is a line that begins with ``#?``, so that the profile
cannot be used before a person has filled it in.
"""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import yaml
from pydantic import ValidationError

from pipelines.depot.disk import write_bytes
from pipelines.depot.new_files import refuse_place
from pipelines.identity import identifiers
from pipelines.identity.names import KnownNames
from pipelines.lab.profile.axes import Axes, Seen, axes_of
from pipelines.lab.profile.files import Recorded, isolated_readers, recordings_in, told_of_units
from pipelines.lab.profile.muscles import told_of_muscles
from pipelines.lab.profile.roles import Guesses, guess_roles
from pipelines.lab.profile.together import SURELY_RIGID_M
from pipelines.study.anatomy import empty_at
from pipelines.study.drafts import OPEN, is_untouched, quoted, ways_in_words
from pipelines.study.file import load_study
from schemas.study import SiteProfile

if TYPE_CHECKING:
    from schemas.study import Study

_WIDTH = 110


@dataclass(frozen=True)
class Draft:
    """The drafted profile. open: settings that a person has to fill in before it can be used.

    seen: setting or role -> what was seen of it; guesses: of roles and clusters.
    """

    text: str
    files: int
    unread: int
    open: tuple[str, ...]
    notes: tuple[str, ...]
    seen: Mapping[str, Seen]
    guesses: Guesses

    def plain(self, to: Path | None) -> dict[str, Any]:
        """The same for scripts. to: where it was written."""
        roles, clusters = self.guesses.roles, self.guesses.carriers
        return {
            "written_to": to,
            "files": self.files,
            "unread": self.unread,
            "open": self.open,
            "notes": self.notes,
            "settings": {name: vars(one) for name, one in self.seen.items() if name not in {g.role for g in roles}},
            "markers": [vars(one) for one in roles],
            "clusters": [
                {
                    "name": one.name,
                    "labels": one.group.labels,
                    "carries": one.carries,
                    "greatest_sd_m": one.group.spread_m,
                    "open": one.group.spread_m > SURELY_RIGID_M,
                }
                for one in clusters
            ],
            "text": self.text,
        }

    def told(self, to: Path) -> str:
        """What to say once it is written to ``to``."""
        lines = [f"Draft of a site profile from {self.files} files: {to}"]
        lines += self.notes
        if self.open:
            lines.append(f"To be filled in by you ({len(self.open)}): {', '.join(self.open)}")
        lines.append("Read every line; then try it: manystrides look RUNNING.c3d --outcomes --profile " + str(to))
        return "\n".join(lines)


def draft_profile(folder: Path, study_path: Path, site: str | None = None) -> Draft:
    """Draft a profile from the recordings in ``folder`` for the marker roles of the study.

    Raises Unusable if the folder holds no recording that can be read, or the study file is at fault.
    """
    from pipelines.identity.word_list import names_beside

    study = load_study(study_path).study
    found, unread = recordings_in(folder)
    known = names_beside(study_path)
    recordings, telling = _without_people(found, known)
    axes = axes_of(recordings)
    required = study.roles_with_side(required_only=True)
    guesses = guess_roles(recordings, axes, study.roles_with_side(), required)
    writer = _Writer(study, recordings, axes, guesses)
    notes = (*told_of_units(recordings), *guesses.notes)
    notes += tuple(_empty(study, axes, recordings, guesses))
    if unread:
        notes = (*notes, f"{unread} C3D {'file' if unread == 1 else 'files'} could not be read.")
    if telling:
        notes = (*notes, f"{telling} labels may identify a person and were left out; rename these markers.")
    body = "\n".join(writer.lines(site))
    notes += tuple(_legs(body, recordings, study, known))
    head = "\n".join(_head(recordings, notes, writer.open))
    text, still_open = f"{head}\n{body}\n", tuple(writer.open)
    return Draft(text, len(recordings), unread, still_open, notes, writer.seen, guesses)


def _legs(body: str, recordings: Sequence[Recorded], study: Study, known: KnownNames) -> Iterator[str]:
    """Which leg muscle channels are of; nothing while the drafted settings are no profile yet, or without force."""
    paths = [r.path for r in recordings if r.path is not None and r.plates and not r.standing]
    try:
        profile = SiteProfile.model_validate({"site": "unnamed"} | (yaml.safe_load(body) or {}))
    except ValidationError:
        return
    if paths:
        with isolated_readers() as isolated:
            yield from told_of_muscles(paths, profile, study, isolated, lambda label: _tells(label, known))


def _tells(label: str, known: KnownNames) -> bool:
    return bool(identifiers.surely(label, "", known) or identifiers.scan_name(label, known))


def _empty(study: Study, axes: Axes, recordings: Sequence[Recorded], guesses: Guesses) -> Iterator[str]:
    """What would stay empty at the laboratory with the labels that were found."""
    plates = any(r.plates for r in recordings)
    profile = SiteProfile.model_construct(
        surface="treadmill" if axes.said["surface"].value == "treadmill" else "runway",
        force_rate_hz=1.0 if plates else None,
        plate_types=(),
        markers={
            g.role: g.label
            for g in guesses.roles
            if g.label is not None and not (g.only_standing and g.sureness == "not sure")
        },
    )
    for group, spec in study.requires_any.items():
        if study.way_of(group, profile.markers) is None:
            yield f"The study requires a {group.replace('_', ' ')}: {ways_in_words(spec.ways)}; none is labelled whole."
    found = empty_at(profile, study.processing)
    if found:
        told = "; ".join(f"{one.what} (needs {one.lacks})" for one in found)
        yield f"With these labels alone stays empty in every trial: {told}."


def _without_people(found: Sequence[Recorded], known: KnownNames) -> tuple[list[Recorded], int]:
    """The recordings with empty labels where one may identify a person, and how many labels those are."""
    labels = {label for recording in found for label in recording.labels}
    telling = {v for v in labels if _tells(v, known)}
    kept = [replace(r, labels=tuple("" if v in telling else v for v in r.labels)) for r in found]
    return kept, len(telling)


def write_draft(draft: Draft, to: Path) -> None:
    """Write the draft to the new file ``to``, or over a profile in which nobody has filled in anything.

    Raises Unusable if something else is there or its folder does not exist.
    """
    write_bytes(to if is_untouched(to) else refuse_place(to), draft.text.encode())


def _head(recordings: Sequence[Recorded], notes: Sequence[str], still_open: Sequence[str]) -> Iterator[str]:
    standing = sum(r.standing for r in recordings)
    yield f"# Draft of a site profile, made by manystrides from {len(recordings)} C3D files ({standing} standing)."
    yield "# It is a guess from what the files show. What a person must do:"
    yield f"#   1. Each line that begins with {OPEN}: correct it and take the mark away, or delete it if you have no"
    yield "#      such marker. The comment above it says why it is not sure."
    yield "#   2. Read every other line: the comment above it says how sure it is, and why."
    yield "#   3. Check 'forward' and left and right with one recording of which you know who ran which way."
    yield "#   4. Compute one trial with it: manystrides look RUNNING.c3d --outcomes --profile THIS_FILE --mass 70"
    if still_open:
        yield from _comment(f"Still open: {', '.join(still_open)}", "")
    for note in notes:
        yield from _comment(f"NOTE: {note}", "")


class _Writer:
    """Writes the settings one by one and remembers which are open."""

    def __init__(self, study: Study, recordings: Sequence[Recorded], axes: Axes, guesses: Guesses) -> None:
        self.study, self.recordings, self.axes, self.guesses = study, recordings, axes, guesses
        self.open: list[str] = []
        self.seen: dict[str, Seen] = {}

    def lines(self, site: str | None) -> list[str]:
        """Every line after the head."""
        unnamed = Seen(None, "not sure", "give --site, or fill in the name the study file uses")
        named = Seen(site, "sure", "as given") if site else unnamed
        parts = [
            self._setting("site", named),
            self._setting("description", Seen(self._description(), "likely", "what the files say of themselves")),
            self._setting("surface", self.axes.said["surface"], hint="treadmill or runway"),
            self._axes(),
            self._setting("runs_both_ways", self.axes.said["runs_both_ways"], plain=True, hint="true or false"),
            *self._rates(),
            self._markers(),
            self._clusters(),
        ]
        return ["", *(line for part in parts for line in part)]

    def _setting(
        self, name: str, seen: Seen, *, indent: str = "", plain: bool = False, hint: str = "?"
    ) -> Iterator[str]:
        """A comment with the evidence, then the value, or an open line."""
        self.seen[name] = seen
        if seen.value is None or seen.sureness == "not sure":
            self.open.append(name)
            guess = hint if seen.value is None else seen.value if plain else quoted(seen.value)
            yield from _comment(f"not sure: {seen.why}", indent)
            yield f"{indent}{OPEN} {name}: {guess}"
            return
        yield from _comment(f"{seen.sureness}: {seen.why}", indent)
        yield f"{indent}{name}: {seen.value if plain else quoted(seen.value)}"

    def _axes(self) -> Iterator[str]:
        yield "axes:"
        for name in ("forward", "up", "right"):
            yield from self._setting(name, self.axes.said[name], indent="  ", hint='"+x"')

    def _rates(self) -> Iterator[Iterator[str]]:
        rates = [r.rate_hz for r in self.recordings]
        yield self._setting("marker_rate_hz", _commonest(rates), plain=True)
        with_plates = [r for r in self.recordings if r.plates]
        if 2 * len(with_plates) < len([r for r in self.recordings if not r.standing]):
            yield iter(["# sure: no force plate in most files, so there is no force_rate_hz and no plate_types"])
            return
        yield self._setting("force_rate_hz", _commonest([r.force_rate_hz for r in with_plates]), plain=True)
        types = [str([p.c3d_type for p in r.plates]) for r in with_plates]
        yield self._setting("plate_types", _commonest(types), plain=True)

    def _markers(self) -> Iterator[str]:
        required = self.study.roles_with_side(required_only=True)
        yield "markers:"
        absent = []
        for guess in self.guesses.roles:
            if guess.label is None and guess.role not in required:
                absent.append(guess.role)
                continue
            yield from self._setting(guess.role, Seen(guess.label, guess.sureness, guess.why), indent="  ")
        if absent:
            told = f"No label fits these, which the study does not require: {', '.join(absent)}"
            yield from _comment(told, "  ")

    def _clusters(self) -> Iterator[str]:
        carriers = self.guesses.carriers
        if not carriers:
            return
        yield from _comment("Markers that keep their distances while running, and landmarks that they carry.", "")
        sure = [one for one in carriers if one.group.spread_m <= SURELY_RIGID_M]
        yield "clusters:" if sure else f"{OPEN} clusters:"
        still_open = {guess.role for guess in self.guesses.roles if guess.sureness == "not sure"}
        for one in carriers:
            carries = [role for role in one.carries if role not in still_open or one not in sure]
            seen = (
                f"their distances vary by at most {1000 * one.group.spread_m:.1f} mm (standard deviation) while running"
            )
            sureness, mark = ("likely", "") if one in sure else ("not sure", f"{OPEN} ")
            if mark:
                self.open.append(f"clusters.{one.name}")
            yield from _comment(f"{sureness}: {seen}; nearest on the segment of what it carries", "  ")
            yield f"  {mark}{one.name}:"
            yield f"  {mark}  labels: [{', '.join(map(quoted, one.group.labels))}]"
            yield f"  {mark}  carries: [{', '.join(carries)}]"

    def _description(self) -> str:
        surface = self.axes.said["surface"].value or "laboratory"
        plates = _commonest([len(r.plates) for r in self.recordings if r.plates]).value
        unit = _commonest([r.unit for r in self.recordings]).value
        told = [surface.capitalize(), f"{plates} force plates" if plates else "no force plate", f"markers in {unit}"]
        return ", ".join(told).replace("1 force plates", "one force plate") + "."


def _comment(text: str, indent: str) -> Iterator[str]:
    yield from textwrap.wrap(text, _WIDTH, initial_indent=f"{indent}# ", subsequent_indent=f"{indent}#   ")


def _commonest(values: Sequence[Any]) -> Seen:
    """The most frequent value of many files, as text."""
    if not values:
        return Seen(None, "not sure", "no file has it")
    value, count = Counter(values).most_common(1)[0]
    word = f"{value:g}" if isinstance(value, float) else str(value)
    if count == len(values):
        files = f"all {count} files that have it" if count > 1 else "the one file that has it"
        return Seen(word, "sure", f"the same in {files}")
    others = ", ".join(f"{v:g}" if isinstance(v, float) else str(v) for v in dict.fromkeys(values) if v != value)
    sureness = "likely" if 3 * count >= 2 * len(values) else "not sure"
    return Seen(word, sureness, f"in {count} of {len(values)} files; in others {others}")
