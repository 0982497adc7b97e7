"""What one cause is: the form of a row of ``checks.what_follows``."""

from __future__ import annotations

from dataclasses import dataclass

from checks.registry import CheckSpec


@dataclass(frozen=True)
class Cause:
    """What follows from the fault that one check is there for.

    topics, checks: those whose findings follow, topics as folders or modules of ``checks``, less what stands earlier
    in ``CAUSES``. why: how it comes about. there: only findings at the same marker, plate or channel follow.
    """

    check_name: str
    why: str
    topics: tuple[str, ...] = ()
    checks: tuple[str, ...] = ()
    there: bool = False

    def covers(self, spec: CheckSpec) -> bool:
        """Whether the check's findings may follow, whatever stands earlier."""
        return spec.name in self.checks or any(spec.topic == t or spec.topic.startswith(f"{t}.") for t in self.topics)


def only(check_name: str, why: str, *checks: str, there: bool = False) -> Cause:
    """A cause that explains the checks named and no whole topic."""
    return Cause(check_name, why, (), checks, there)
