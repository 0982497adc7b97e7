"""Finds what is known of withdrawals since a backup was made: the registers of one depot, under whatever name."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from pipelines.depot import register as registers
from pipelines.errors import Unusable

#: What the copy of the register is called in a backup.
BACKUPS = "register"


def latest_register(own: Path, source: Path, word: str) -> registers.Register | None:
    """Of the depot's registers beside the new place and the backups the one that reaches furthest; None without any.

    own: where the register of the new place is or will be; word: of the depot. Withdrawals of the others are added.
    """
    source = source.absolute()
    beside = {path for folder in (own.parent, *source.parents[:2]) for path in folder.glob("*.register")}
    found = [register_of(path, word) for path in sorted({own, *beside})]
    known = sorted((one for one in found if one is not None), key=lambda one: one.head.sequence)
    if not known:
        return None
    *others, latest = known
    for listed in (listed for other in others for listed in other.withdrawals):
        if listed.tombstone not in {one.tombstone for one in latest.withdrawals}:
            latest = latest.with_withdrawal(listed)
    return latest


def register_of(path: Path, word: str) -> registers.Register | None:
    """A register, if it can be read and is that of the depot with this word."""
    with suppress(Unusable):
        known = registers.read(path)
        if known is not None and known.depot == word:
            return known
    return None


def nothing_known_since(own: Path) -> Unusable:
    """Why a depot is not put back without its register."""
    return Unusable(
        "No register of this depot is beside the new place or the backup, so that withdrawals since the backup was "
        "made would not be known, and a runner who withdrew would be in the depot again.",
        "the register of the depot that was lost (the file <depot>.register).",
        "Name it with --register or put it beside the new depot. If it is lost, too, add --yes, and ask for each "
        "withdrawal since then again before anything else.",
        file=own,
    )
