"""Reads ``handover.yaml`` beside the study file; without one nobody hears of a run. See ``schemas.handover``."""

from __future__ import annotations

from pathlib import Path

from pipelines.study.reading import Fault, checked, parse, read_bytes, refuse
from schemas.handover import HandOver
from schemas.study import Study

NAME = "handover.yaml"
_PAGE = "handover.md"


def load_hand_over(folder: Path, study: Study) -> HandOver:
    """The settings in the study file's folder; all off if there are none. Raises Unusable."""
    path = folder / NAME
    if not path.exists():
        return HandOver()
    settings = checked(HandOver, parse(read_bytes(path, "hand-over settings"), path, _PAGE), path, _PAGE)
    known = ", ".join(study.sites)
    refuse(
        [Fault(f"sites.{s}", "is no site", f"one of {known}") for s in settings.sites if s not in study.sites],
        path,
        _PAGE,
    )
    if settings.mail is not None and not settings.sender:
        refuse([Fault("sender", "is missing", "an address, since mail names one")], path, _PAGE)
    return settings
