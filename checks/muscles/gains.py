"""How checks whose limits are in microvolts end where an amplifier's gain is not known. Registers no check."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from checks.registry import Fault, Looked, looked, nothing
from pipelines.science.muscles.measures import Muscle


def in_microvolts(muscles: Sequence[Muscle], faults: Iterable[Fault]) -> Looked:
    """What a check saw that needs microvolts at the skin.

    muscles: all that it was to look at. faults: of those of them whose gain is known. While a muscle is left that could
    not be looked at the check does not pass; it is skipped, and says which, unless another has a fault.
    """
    found, unknown = tuple(faults), [m for m in muscles if not m.gain_known]
    if found or not unknown:
        return looked(len(muscles) - len(unknown), found)
    names = ", ".join(m.place for m in unknown)
    rest = "" if len(unknown) == len(muscles) else "; the other muscles show nothing"
    return nothing(f"the gain of {names} is not known, so nobody can tell its size in microvolts{rest}")
