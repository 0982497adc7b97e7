"""What a check at the laboratory says of texts that may identify a person, and of the copy without them, as lines."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from pipelines.lab.scrub import Scrubbed
from schemas.reading import Identifying

#: More of one kind are counted only.
MOST_SHOWN = 20


def told_identifying(told: list[Identifying]) -> Iterator[str]:
    """Places that may tell who somebody is, without what stands there."""
    if told:
        yield f"Texts that may identify a person, at {len(told)} {'place' if len(told) == 1 else 'places'}"
        for one in told[:MOST_SHOWN]:
            yield f"  {', '.join(part for part in (one.file, one.place) if part)}: {one.kind}"
        if len(told) > MOST_SHOWN:
            yield f"  and {len(told) - MOST_SHOWN} more"


def told_scrubbed(done: Scrubbed, out: Path, is_folder: bool) -> Iterator[str]:
    """What was taken out of the copy, what is left to do by hand, and what to do with the copy."""
    count = sum(done.cleaned.values())
    files = len(done.cleaned)
    yield f"Cleaned copy: {out} ({count} texts taken out of {files} files; every measured value is the same)"
    yield from (f"  left out, since it may identify a person: {name}" for name in done.left_out)
    yield from (f"  to be mended by hand: {what}" for what in done.by_hand[:MOST_SHOWN])
    if is_folder:
        yield f"  next: pack it with manystrides pack {out} --to NEW.zip"
    else:
        yield (
            "  next: if the delivery it was made of was never taken in, send it as it is, with its number and role; "
            f"else pack it under the next number: manystrides pack {out} --to NEW.zip --number NEXT"
        )
