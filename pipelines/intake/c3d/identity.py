"""Text in a C3D file that may tell who was recorded or when. Names places and kinds, never the text itself."""

from __future__ import annotations

import re

from pipelines.intake.c3d.layout import Layout

_PERSON_GROUP = re.compile(r"^(SUBJECTS?|PATIENTS?|PARTICIPANTS?|PERSON|ATHLETE|CLIENT):")
_PERSON_NAMES = re.compile(
    r"^(NAMES?|SUBJECTS?|PATIENTS?|PARTICIPANTS?|LABEL_PREFIXES|ID|INITIALS|OPERATOR|EXAMINER|SURNAME)$"
    r"|^(FIRST|LAST|FAMILY|GIVEN|SUBJECT|PATIENT|OPERATOR|USER|FULL)_?NAME$"
)
#: says how the person was modelled, not who it is
_MODEL_WORDS = re.compile(r"SETS?$|^SEG_|^MODEL|^USES_|^IS_")
_BIRTH_PLACES = re.compile(r"BIRTH|(^|[:_])DOB($|[:_])")
_DATE_PLACES = re.compile(r"(^|[:_])(DATE|DAY|TIME_?STAMP)($|[:_])|DATE$|_TIME$")
_MONTH = r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*"
_DATE = re.compile(
    r"(?<!\d)(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.](?:\d{4}|\d{2}))(?!\d)"
    r"|(?<![a-z])\d{1,2}[ .-]+" + _MONTH + r"[ .,-]+\d{2,4}"
    r"|(?<![a-z])" + _MONTH + r"[ .]+\d{1,2},? +\d{4}",
    re.IGNORECASE,
)
_MAIL = re.compile(r"[^@\s]+@[^@\s]+\.[a-z]{2,}", re.IGNORECASE)
_PATH = re.compile(r"^[a-z]:[\\/]|^\\\\|^/(?:home|users)/|[\\/]users[\\/]", re.IGNORECASE)
_PREFIXED = re.compile(r"^([^:]{2,}):[^:]+$")
#: what measures rather than tells: their text is read for dates only
_MEASURES = {"LABELS", "UNITS", "DESCRIPTIONS", "CONTEXTS", "FORMAT"}


def identity_like(layout: Layout) -> tuple[tuple[str, str], ...]:
    """Places and kinds: ("SUBJECTS:NAMES", "name of a person"). One entry for each place and kind, in file order."""
    found: dict[tuple[str, str], None] = {}
    for place, rows in layout.texts:
        for text in rows:
            for kind in _kinds(place, text):
                found[place, kind] = None
    if any(_PREFIXED.match(label) for label in layout.point_labels):
        found["POINT:LABELS", "name of a person before a colon"] = None
    return tuple(found)


def _kinds(place: str, text: str) -> list[str]:
    if not text.strip("* -_.?0"):
        return []
    kinds = []
    name = place.split(":", 1)[1].rstrip("0123456789")
    if _DATE.search(text):
        kinds.append("date")
    if _MAIL.search(text):
        kinds.append("e-mail address")
    if _PATH.search(text):
        kinds.append("path on somebody's computer")
    if name in _MEASURES or place.startswith(("POINT:", "ANALOG:", "FORCE_PLATFORM:")):
        return kinds
    person = bool(_PERSON_GROUP.match(place))
    if _BIRTH_PLACES.search(place):
        kinds = [kind for kind in kinds if kind != "date"] + ["date of birth"]
    elif _PERSON_NAMES.match(name) and (person or name not in ("NAMES", "NAME", "ID", "LABEL_PREFIXES")):
        kinds.append("name of a person")
    elif _DATE_PLACES.search(place):
        kinds.append("date")
    elif "FILENAME" in name or "FILE_NAME" in name:
        kinds.append("name of a file")
    elif person and not _MODEL_WORDS.search(name):
        kinds.append("about a person")
    return list(dict.fromkeys(kinds))
