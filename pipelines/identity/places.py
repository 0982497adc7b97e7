# ruff: noqa: E501  (a pattern cut into pieces is harder to check than a long line)
"""What the name of a field says about the text in it: a parameter, a column, a label of bag-info, a key of JSON."""

from __future__ import annotations

import re
from enum import StrEnum

from pipelines.identity import kinds


class Field(StrEnum):
    """How suspicious a field is."""

    TOLD = "told"  # free text: every pattern and names
    PERSON = "person"  # expected to name a person
    DESCRIBED = "described"  # what a thing is: patterns and likely names, no guessing from capitals
    MEASURE = "measure"  # labels, units, words of the trade: patterns, but no guessing of names
    FILE = "file"  # name of a file or folder
    PACKING = "packing"  # written by the packing program itself


_WORD = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|[0-9]+")
_PERSON_WORDS = {
    "operator", "tester", "examiner", "investigator", "surname", "firstname", "lastname", "forename", "physician",
    "doctor", "therapist", "coach", "technician", "assessor", "author", "owner", "fullname", "initials", "nickname",
    "parent", "guardian", "kin", "clinician", "researcher", "assistant", "supervisor", "signed", "username",
}  # fmt: skip
_PERSONS = {
    "subject", "subjects", "patient", "patients", "participant", "participants", "person", "athlete", "client",
    "runner", "contact", "user", "first", "last", "family", "given", "full", "middle", "staff", "volunteer", "name",
    "names", "emergency", "recorded", "tested", "measured",
}  # fmt: skip
_PEOPLE = {
    "subject", "subjects", "patient", "patients", "participant", "participants", "person", "athlete", "client", "staff",
    "volunteer",
}  # fmt: skip
_NAME_WORDS = {"name", "names", "by", "prefixes"}
#: Says how the person was modelled, not who it is.
_MODEL = {"set", "sets", "seg", "model", "uses", "is", "static", "marker", "number", "index", "count", "type", "side"}
_MEASURES = {
    "labels", "label", "units", "unit", "contexts", "context", "format", "muscle", "role", "condition", "visit", "kind",
    "side", "surface", "sex", "scope", "event", "question", "footwear", "version", "processor", "software", "profile",
    "mediatype", "encoding", "pattern", "enum", "channel", "calibration", "axes", "form",
}  # fmt: skip
_DESCRIBING = {"description", "descriptions", "manufacturer", "unused", "transducer", "prefilter", "title"}
_PACKING = {
    "bagging-date", "bag-software-agent", "payload-oxum", "bag-size", "bag-group-identifier", "bag-count",
    "bagit-profile-identifier", "bagit-version", "tag-file-character-encoding", "created", "$schema", "schema",
    "homepage", "licenses", "sources", "hash",
}  # fmt: skip

#: Words of a field's name, all of which it must have, and the kind of what stands in it whatever its form.
_EXPECTS: tuple[tuple[re.Pattern[str], str], ...] = tuple(
    (re.compile(pattern, re.IGNORECASE), kind)
    for pattern, kind in (
        (r"birth_?(?:date|day)|date_?of_?birth|(?:^|[^A-Z])dob(?:$|[^A-Z])", kinds.DATE),
        (r"(?:^|[:_ -])(?:date|timestamp|time_stamp|datetime)(?:$|[:_ 0-9-])|date$", kinds.DATE),
        (r"(?:^|[:_ -])(?:start_?time|time_?of_?day|clock_?time|recording_?time|creation_?time)$", kinds.TIME),
        (r"e-?mail", kinds.MAIL),
        (r"phone|mobile|(?:^|[:_ -])(?:fax|tel)(?:$|[_ -])", kinds.PHONE),
        (r"(?:^|[:_ -])(?:ssn|nin|national_?id|personal_?number|social_?security|tax_?id|passport)", kinds.NATIONAL),
        (r"(?:^|[:_ -])(?:mrn|emr|nhs)|(?:medical|hospital|patient|chart|record|case)_?(?:no|number|nr|id)s?$", kinds.RECORD),
        (r"insurance|health_?plan|policy_?(?:no|number)|beneficiary", kinds.INSURANCE),
        (r"(?:^|[:_ -])(?:iban|account_?(?:no|number)?|bank|card_?number)(?:$|[_ -])", kinds.ACCOUNT),
        (r"licen[cs]e_?(?:no|number|id)|certificate_?(?:no|number|id)", kinds.LICENCE),
        (r"(?:number|licen[cs]e)_?plate$|vehicle|(?:^|[:_ -])vin$", kinds.VEHICLE),
        (r"serial|imei|device_?id|(?:^|[:_ -])s/?n(?:$|[_ -])", kinds.DEVICE),
        (r"(?:^|[:_ -])(?:url|website|web_?page|link)s?$", kinds.WEB),
        (r"(?:^|[:_ -])(?:ip|mac)(?:_?address)?$|host_?name|computer_?name|work_?station", kinds.NETWORK),
        (r"address|street|(?:^|[:_ -])(?:city|town|village|county|municipality|zip|postcode|postal_?code|post_?code|home_?town)(?:$|[_ -])", kinds.PLACE),
        (r"(?:^|[:_ -])(?:latitude|longitude|gps|lat|lon)$", kinds.PLACE),
        (r"(?:employee|staff|student|member|user|login|badge|bib|club)_?(?:no|number|id)$", kinds.OTHER_NUMBER),
    )
)  # fmt: skip
_AGE = re.compile(r"(?:^|[:_ -])age(?:$|[_ -](?:a|y|years?|at.*)?$)", re.IGNORECASE)
_BIRTH_YEAR = re.compile(r"birth_?year|year_?of_?birth", re.IGNORECASE)


_FILE_NAME = re.compile(r"file_?name$|original_?file$", re.IGNORECASE)


def is_file_name(place: str) -> bool:
    """Whether the field holds the name of a file, as recording programs keep that of the first export."""
    return bool(_FILE_NAME.search(place))


def words_of(name: str) -> list[str]:
    """The words of a field's name in lower case: "SUBJECTS:FIRST_NAME" and "subjects firstName" alike."""
    return [word.lower() for word in _WORD.findall(name)]


def field_of(place: str) -> Field:
    """How the text in a field is to be read. place: its name; "" for text that stands alone."""
    lowered = place.lower()
    if lowered.rpartition(":")[2] in _PACKING or lowered.rpartition(".")[2] in _PACKING:
        return Field.PACKING
    own = words_of(place.rpartition(":")[2])
    every = set(words_of(place))
    if not own:
        return Field.TOLD
    if every & _DESCRIBING:
        return Field.DESCRIBED
    if every & _PERSON_WORDS and not set(own) & (_MODEL | _MEASURES):
        return Field.PERSON
    if own[-1] in _NAME_WORDS and every & (_PERSONS - {"name", "names"}) and not set(own) & _MODEL:
        return Field.PERSON
    if len(own) == 1 and own[0] in (_PEOPLE if ":" in place else _PERSONS - {"runner", "contact"}):
        return Field.PERSON
    return Field.MEASURE if own[-1].rstrip("0123456789") in _MEASURES or own[0] in _MEASURES else Field.TOLD


def expected_kind(place: str) -> str | None:
    """The kind of what a field of this name holds, if its name says so."""
    return next((kind for pattern, kind in _EXPECTS if pattern.search(place)), None)


def is_age(place: str) -> bool:
    """Whether the field holds an age."""
    return bool(_AGE.search(place))


def is_birth_year(place: str) -> bool:
    """Whether the field holds a year of birth, which may stay unless it tells of an age over 89."""
    return bool(_BIRTH_YEAR.search(place))
