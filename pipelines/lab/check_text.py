"""What the check at the laboratory prints beside the summary: what to do, texts that tell who, the cleaned copy."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pipelines.lab.scrub import Scrubbed
from schemas.reading import Identifying

#: More of one kind are counted only.
MOST_SHOWN, _MOST_WHERE = 20, 5


def remedies(findings: list[dict[str, Any]]) -> Iterator[str]:
    """What to do, cause by cause: first what explains most, each with the trials that it is to be done for."""
    explained = Counter(f["consequence_of"] for f in findings)
    by_cause: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for finding in findings:
        if finding["consequence_of"] is None and finding["weight"] in ("returns", "withholds"):
            by_cause.setdefault((finding["check_name"], finding["remedy"]), []).append(finding)

    def follow(own: list[dict[str, Any]]) -> int:
        return sum(explained[f["finding_id"]] for f in own)

    if by_cause:
        yield "What to do, what explains most first"
    order = sorted(by_cause.items(), key=lambda item: (-follow(item[1]), -len(item[1])))
    for (_, remedy), own in order:
        where = list(dict.fromkeys(f["trial_id"] or f["file"] or "the delivery" for f in own))
        more = f" and {len(where) - _MOST_WHERE} more" if len(where) > _MOST_WHERE else ""
        explains = f"; explains {count} other finding{'' if count == 1 else 's'}" if (count := follow(own)) else ""
        yield f"  {', '.join(map(str, where[:_MOST_WHERE]))}{more}{explains}"
        yield f"    {remedy}"


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
