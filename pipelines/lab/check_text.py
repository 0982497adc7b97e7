"""What the check at the laboratory prints beside the summary: what to do, texts that tell who, the cleaned copy."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pipelines.lab.scrub import Scrubbed
from schemas.reading import Identifying

#: More of one kind are counted only.
MOST_SHOWN = 20


def by_trial(findings: list[dict[str, Any]]) -> Iterator[str]:
    """What goes back, trial by trial: each cause by its check, what was seen and expected, and what to do about it.

    Causes that explain most stand first. A remedy that was told for a trial above is named by that trial.
    """
    explained = Counter(f["consequence_of"] for f in findings)
    causes = [f for f in findings if f["consequence_of"] is None and f["weight"] in ("returns", "withholds")]
    by_where: dict[str, list[dict[str, Any]]] = {}
    for finding in causes:
        where = str(finding["trial_id"] or finding["place"] or finding["file"] or "the delivery")
        by_where.setdefault(where, []).append(finding)
    if by_where:
        yield "What goes back, why, and what to do"
    first: dict[tuple[str, str], str] = {}
    for where, own in by_where.items():
        yield f"  {where}"
        for finding in sorted(own, key=lambda f: -explained[f["finding_id"]]):
            count = explained[finding["finding_id"]]
            explains = f" (explains {count} other finding{'' if count == 1 else 's'})" if count else ""
            yield f"    {finding['check_name']}{explains}"
            yield f"      seen      {finding['seen']}"
            yield f"      expected  {finding['expected']}"
            told = first.setdefault((finding["check_name"], finding["remedy"]), where)
            yield f"      do        {finding['remedy'] if told == where else f'As for {told}, above.'}"


def for_scripts(findings: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The findings with what a script at the site may need of each."""
    wanted = ("finding_id", "trial_id", "file", "place", "check_name", "weight", "seen", "expected", "remedy")
    return [{name: finding[name] for name in (*wanted, "consequence_of")} for finding in findings]


def places_told(told: list[Identifying]) -> Iterator[str]:
    """Where texts may identify a person, and of what kind."""
    if told:
        yield f"Texts that may identify a person, at {len(told)} {'place' if len(told) == 1 else 'places'}"
        for one in told[:MOST_SHOWN]:
            yield f"  {', '.join(part for part in (one.file, one.place) if part)}: {one.kind}"
        if len(told) > MOST_SHOWN:
            yield f"  and {len(told) - MOST_SHOWN} more"


def scrubbed(done: Scrubbed, out: Path, is_folder: bool) -> Iterator[str]:
    """What was taken out of a cleaned copy, and what to do with it. is_folder: it was made of a plain folder."""
    count = sum(done.cleaned.values())
    files = len(done.cleaned)
    yield f"Cleaned copy: {out} ({count} texts taken out of {files} files; every measured value is the same)"
    yield from (f"  left out, since it may identify a person: {name}" for name in done.left_out)
    yield from (f"  left out, since the depot keeps no such file: {name}" for name in done.unkept)
    yield from (f"  to be corrected by hand: {what}" for what in done.by_hand[:MOST_SHOWN])
    if is_folder:
        yield f"  next: pack it with manystrides pack {out} --to NEW.zip"
    else:
        yield (
            "  next: if the delivery it was made of was never taken in, send it as it is, with its number and role; "
            f"else pack it under the next number: manystrides pack {out} --to NEW.zip --number NEXT"
        )
