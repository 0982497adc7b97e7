"""By what a bag tells with which study file, code and kit it was packed, and whether the depot judges by these.

``kit.json`` beside the study file of a kit says which kit it is, and which study file it was made from: that of a kit
names one site alone, so that its own checksum is another.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from pathlib import Path

from pipelines.identity.names import KnownNames
from pipelines.judging.stamps import made, of_delivery
from pipelines.study.file import LoadedStudy
from pipelines.versions import code_version, judging_sources
from schemas.study import Study

KIT_FILE = "kit.json"
#: Fields of bag-info.txt. The last is one word for all that judging reads: code, settings, the site's own profile.
CODE, STUDY_FILE, KIT, JUDGED_AS = "Packed-With", "Study-File-Version", "Kit-Version", "Judged-As"
#: What they may hold to be kept and told again: a bag comes from outside, and may say anything there.
_FORMS = {
    CODE: re.compile(r"[0-9.]{1,16}(?:[a-z]{1,4}[0-9]{1,4})?\+[0-9a-f]{8}"),
    STUDY_FILE: re.compile(r"[0-9.]{0,12}\+[0-9a-f]{8}"),
    KIT: re.compile(r"[0-9a-f]{8}"),
    JUDGED_AS: re.compile(r"[0-9a-f]{16}"),
}


def stamped(study: LoadedStudy, site: str) -> dict[str, str]:
    """The fields for a bag that is packed now."""
    told = _of_kit(study.path)
    fields = {
        CODE: code_version(),
        STUDY_FILE: told.get("study_file_version", study.version),
        KIT: told.get("kit_version", ""),
        JUDGED_AS: word(study.study, site),
    }
    if _FORMS[STUDY_FILE].fullmatch(fields[STUDY_FILE]) is None:  # a version in words
        fields[STUDY_FILE] = f"+{fields[STUDY_FILE].rpartition('+')[2]}"
    return kept(fields)


def word(study: Study, site: str) -> str:
    """One word for what trials of a site are judged by here; lists of names, which no kit holds, left aside."""
    return made(of_delivery(study, site, KnownNames(), judging_sources()))


def kept(info: Mapping[str, str]) -> dict[str, str]:
    """Those of a bag's fields that tell it, in their form; whatever else they say is dropped."""
    named = {label.lower(): value for label, value in info.items()}
    return {name: value for name, form in _FORMS.items() if form.fullmatch(value := named.get(name.lower(), ""))}


def older(study: LoadedStudy, site: str) -> Callable[[Mapping[str, str]], str | None]:
    """Tells of the fields of a bag of ``site`` what its laboratory should know; None if it packed with today's."""
    today = word(study.study, site) if site in study.study.sites else None

    def told(fields: Mapping[str, str]) -> str | None:
        if today is None or fields.get(JUDGED_AS) in (None, today):
            return None
        return (
            f"It was packed and checked with manystrides {fields.get(CODE, 'unknown')} and study file "
            f"{fields.get(STUDY_FILE, 'unknown')}. The depot judges with {code_version()} and {study.version}, which "
            "is not the same for your trials. Ask for the newest kit before your next delivery."
        )

    return told


def _of_kit(study_path: Path) -> dict[str, str]:
    try:
        told = json.loads((study_path.parent / KIT_FILE).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return {str(k): str(v) for k, v in told.items()} if isinstance(told, dict) else {}
