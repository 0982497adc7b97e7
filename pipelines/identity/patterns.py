# ruff: noqa: E501  (a pattern cut into pieces is harder to check than a long line)
"""Patterns of numbers, dates and addresses in running text. Names of people are in ``names``.

Every pattern is linear in the length of the text, and a text is cut into pieces before it is matched. What is close to
an innocent form of the trade (a version, a rate, a duration, a range of trials) needs a word beside it that says so.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from pipelines.identity import kinds

_I = re.IGNORECASE
_MONTH = (
    r"(?:january|february|march|april|may|june|july|august|september|october|november|december"
    r"|jan|feb|mar|apr|jun|jul|aug|sept|sep|oct|nov|dec"
    r"|januar|februar|mars|mai|juni|juli|oktober|desember|dezember|mai|maart|janvier|f[ée]vrier|avril|juin|juillet"
    r"|septembre|octobre|novembre|d[ée]cembre|ao[uû]t|enero|febrero|marzo|abril|mayo|junio|julio|agosto|septiembre|octubre"
    r"|noviembre|diciembre)"
)
_DAY = r"(?:0?[1-9]|[12][0-9]|3[01])"
_TWO_DAY = r"(?:0[1-9]|[12][0-9]|3[01])"
_MON = r"(?:0?[1-9]|1[0-2])"
_TWO_MON = r"(?:0[1-9]|1[0-2])"
_YEAR = r"(?:19|20)[0-9]{2}"
_YY = r"(?:'?[0-9]{2})"
_LEFT = r"(?<![0-9A-Za-z.,:/_-])"
_RIGHT = r"(?![0-9A-Za-z]|[.,:/-][0-9])"
#: What makes three numbers a version and not a date or an address.
_VERSION_BEFORE = re.compile(
    r"(?:\bv|\bver|version|release|firmware|software|build|revision|rev|driver|library|plug-?in|update|format)"
    r"[ .:=#a-z]{0,12}$",
    _I,
)
_VERSION_AFTER = re.compile(r"\s(?:firmware|driver|software|build|release|version)\b", _I)
_UNIT_AFTER = re.compile(
    r"\s?(?:%|°|deg\b|m\b|mm\b|cm\b|s\b|ms\b|N\b|Nm\b|kg\b|Hz\b|kHz\b|V\b|mV\b|min\b|h\b|km\b|W\b|bpm\b|reps?\b|trials?\b"
    r"|steps?\b|percent\b|split\b|ratio\b)"
)
_DURATION_AFTER = re.compile(
    r"\s?(?:min\b|mins\b|minutes\b|/\s?km|per km|h\b|hours?\b|mm:ss|hh:mm|pace\b|ratio\b|split\b|into\b|of (?:the )?"
    r"(?:trial|recording|run|video|warm|treadmill)|in(?:to)? (?:the )?(?:trial|recording|run)|long\b|work|rest)",
    _I,
)
_DURATION_BEFORE = re.compile(
    r"(?:pace|duration|lasted|lasting|took|split|ratio|scale|length|after|elapsed|for|of|within|warm-?up|time code|run|ran)"
    r"[ :=]{1,3}(?:about |of |was |is )?$",
    _I,
)
_CALIBRATION_BEFORE = re.compile(r"(?:calibration|conformity|software|open|MIT|BSD|free|creative commons)\s*$", _I)


_COUNTED = re.compile(
    r"(?:frames?|trials?|samples?|steps?|channels?|points?|markers?|plates?|rows?|lines?|parts?|model)\W*(?:no|nr|num|number)?\W*$",
    _I,
)


@dataclass(frozen=True)
class Pattern:
    """One form of identifying text. Group 1, if there is one, is what identifies; ``unless`` sees text, start, end."""

    kind: str
    regex: re.Pattern[str]
    unless: Callable[[str, int, int], bool] | None = None


def _is_version(text: str, start: int, end: int) -> bool:
    before = text[max(0, start - 30) : start]
    return bool(_VERSION_BEFORE.search(before) or _UNIT_AFTER.match(text, end) or _VERSION_AFTER.match(text, end))


def _is_duration(text: str, start: int, end: int) -> bool:
    if text.startswith("00:0", start) and "." in text[start:end]:
        return True
    return bool(_DURATION_AFTER.match(text, end) or _DURATION_BEFORE.search(text[max(0, start - 30) : start]))


def _not_on_a_calendar(text: str, start: int, end: int) -> bool:
    numbers = [int(n) for n in re.findall(r"[0-9]+", text[start:end])[:3]]
    if _is_version(text, start, end) or len(numbers) < 3:
        return True
    a, b, c = numbers
    return not ((a > 31 and 1 <= b <= 12 and 1 <= c <= 31) or (a <= 31 and b <= 12) or (a <= 12 and b <= 31))


def _no_network(text: str, start: int, end: int) -> bool:
    return _is_version(text, start, end) or any(int(n) > 255 for n in text[start:end].split("."))


def _is_word_may(text: str, start: int, end: int) -> bool:
    """Without a year, only a month with a capital counts: "we may 5 times", "mar 3" are no dates."""
    word = re.search(r"[^\W\d]{3,}", text[start:end])
    return word is None or word[0][0].islower() or bool(_UNIT_AFTER.match(text, end))


def _fails_checksum(text: str, start: int, end: int) -> bool:
    """Luhn's sum over a card number (ISO/IEC 7812-1)."""
    digits = [int(c) for c in text[start:end] if c.isdigit()]
    doubled = [(2 * d - 9 if 2 * d > 9 else 2 * d) if i % 2 else d for i, d in enumerate(reversed(digits))]
    return sum(doubled) % 10 != 0


def _no_date_in_it(text: str, start: int, end: int) -> bool:
    """An eleven-digit personal number begins with day, month and year, or year, month and day."""
    d = "".join(c for c in text[start:end] if c.isdigit())
    dmy = 1 <= int(d[:2]) <= 31 and 1 <= int(d[2:4]) <= 12
    return not (dmy or (1 <= int(d[2:4]) <= 12 and 1 <= int(d[4:6]) <= 31))


def _no_long_number(text: str, start: int, end: int) -> bool:
    return sum(c.isdigit() for c in text[start:end]) < 3


def _counts_something(text: str, start: int, end: int) -> bool:
    """Whether the number is of frames, trials or parts of equipment, or has few digits."""
    before = text[max(0, start - 24) : start]
    return sum(c.isdigit() for c in text[start:end]) < 5 or re.search(_COUNTED, before) is not None


def _innocent_certificate(text: str, start: int, end: int) -> bool:
    before = text[max(0, start - 60) : start]
    word = re.search(r"(?:licen[cs]e|certificate|cert)\b[^A-Za-z]*[A-Za-z .:#]*$", before, _I)
    return bool(word and _CALIBRATION_BEFORE.search(before[: word.start()])) or _no_long_number(text, start, end)


def _p(kind: str, regex: str, unless: Callable[[str, int, int], bool] | None = None, flags: int = _I) -> Pattern:
    return Pattern(kind, re.compile(regex, flags), unless)


def _after(words: str, token: str = r"[A-Z0-9][A-Z0-9./-]{2,30}") -> str:
    """A number that follows one of ``words``, at most a short link between: "MRN: 12345", "account no. 12-34"."""
    link = r"(?:\s*(?:number|numbers|no|nr|num|id|code|is|was|of|ref|reference))?"
    return rf"(?<![A-Za-z])(?:{words}){link}{link}\s*[.:#=()\-]*\s*[:#=]?\s*({token})"


_STATES = (
    "AL|AK|AZ|AR|CA|CO|CT|DE|FL|GA|HI|ID|IL|IN|IA|KS|KY|LA|ME|MD|MA|MI|MN|MS|MO|MT|NE|NV|NH|NJ|NM|NY|NC|ND|OH|OK|OR|PA"
    "|RI|SC|SD|TN|TX|UT|VT|VA|WA|WV|WI|WY"
)
_STREET = (
    r"(?:Street|St|Road|Rd|Avenue|Ave|Lane|Ln|Drive|Dr|Court|Ct|Place|Square|Sq|Terrace|Close|Crescent|Way|Boulevard"
    r"|Blvd|Grove|Gardens|Mews|Row|Hill|Highway|Parkway|Walk)"
)
#: A name on a platform; in left-over bytes it is mostly chance.
HANDLE = _p(kinds.OTHER_NUMBER, r"(?<![\w.@/])@[A-Za-z][A-Za-z0-9_.]{3,30}(?![\w@])")
_NUMBER = r"[A-Z]{0,4}[-/ ]?[0-9][A-Z0-9./-]{2,30}"

PATTERNS: tuple[Pattern, ...] = (
    _p(kinds.MAIL, r"[\w.+%'-]{1,64}\s?(?:@|\(at\)|\[at\]| at (?=[\w-]+ dot ))\s?[\w-]{1,63}(?:(?:\.|\s?\(dot\)\s?|\s?\[dot\]\s?| dot )[\w-]{2,63}){1,4}"),
    _p(kinds.WEB, r"\b(?:https?|ftp|sftp)://[^\s\"'<>]+"),
    _p(kinds.WEB, r"(?<![\w@.-])www[0-9]?\.[\w-]+\.[^\s\"'<>,;]+"),
    _p(
        kinds.WEB,
        r"(?<![\w@.-])(?:[a-z][a-z0-9-]{1,40}\.){1,3}(?:(?:com|org|net|edu|gov|info|ac\.uk|co\.uk|org\.uk|example)(?![\w.-]*\w@)"
        r"(?:/[^\s\"'<>,;]*)?(?![\w-])|(?:no|de|se|dk|fi|fr|nl|be|ch|at|it|es|pt|pl|cz|ie|uk|eu|us|ca|au|nz|jp|io|run|me|ly)/[^\s\"'<>,;]+)",
    ),
    _p(kinds.NETWORK, _LEFT.replace(":", "") + r"[0-9]{1,3}(?:\.[0-9]{1,3}){3}(?![0-9.]*[0-9])", _no_network),
    _p(kinds.NETWORK, r"(?<![\w:])(?:[0-9a-f]{1,4}:){7}[0-9a-f]{1,4}(?![\w:])"),
    _p(kinds.NETWORK, r"(?<![\w:])[0-9a-f]{1,4}(?::[0-9a-f]{1,4}){1,6}::(?:[0-9a-f]{1,4}(?::[0-9a-f]{1,4}){0,5})?(?![\w:])"),
    _p(kinds.NETWORK, r"(?<![\w:-])(?:[0-9a-f]{2}[:-]){5}[0-9a-f]{2}(?![\w:-])"),
    _p(kinds.NETWORK, r"(?<![\w.])[0-9a-f]{4}\.[0-9a-f]{4}\.[0-9a-f]{4}(?![\w.])", lambda t, a, b: t[a:b].replace(".", "").isdigit()),
    # dates: year first, day or month first, month in letters, run together
    _p(kinds.DATE, rf"(?<![0-9.]){_YEAR}([-/._ ]){_MON}\1{_DAY}(?![0-9])", _not_on_a_calendar),
    _p(kinds.DATE, rf"(?<![0-9A-Za-z.,:/]){_DAY}([-/._]){_DAY}\1{_YEAR}(?![0-9])", _not_on_a_calendar),
    _p(kinds.DATE, rf"{_LEFT}(?:{_TWO_DAY}\.{_TWO_MON}|{_DAY}/{_DAY}|{_TWO_DAY}-{_TWO_MON}|{_TWO_MON}-{_TWO_DAY}|{_TWO_MON}\.{_TWO_DAY})[./-][0-9]{{2}}{_RIGHT}", _not_on_a_calendar),
    _p(kinds.DATE, rf"(?<![0-9]){_YEAR}{_TWO_MON}{_TWO_DAY}(?:T?[0-9]{{4,6}}Z?)?(?![0-9])", lambda t, a, b: _is_version(t, a, b)),
    _p(kinds.DATE, rf"(?<![A-Za-z0-9]){_DAY}(?:st|nd|rd|th)?[ ./_-]*(?:of )?{_MONTH}(?![a-z])[ .,/_-]*{_YEAR}(?![0-9])"),
    _p(kinds.DATE, rf"(?<![A-Za-z0-9]){_DAY}[-/. ]{_MONTH}[-/. ]{_YY}(?![0-9A-Za-z])"),
    _p(kinds.DATE, rf"(?<![A-Za-z]){_MONTH}[ ._-]+{_DAY}(?:st|nd|rd|th)?[ ,._-]+{_YEAR}(?![0-9])"),
    _p(kinds.DATE, rf"(?<![0-9]){_YEAR}[ ._-]{_MONTH}[ ._-]{_DAY}(?![0-9])"),
    _p(kinds.DATE, rf"(?<![A-Za-z]){_MONTH}[ .,_-]{{1,2}}{_YEAR}(?![0-9])"),
    _p(kinds.DATE, rf"(?<![A-Za-z0-9.]){_DAY}(?:st|nd|rd|th|er|\.)? (?:of )?{_MONTH}(?![a-z])", _is_word_may),
    # a day with its month in Roman numbers
    _p(kinds.DATE, rf"(?<![0-9A-Za-z.,]){_DAY}\s?[./-]\s?(?:I{{1,3}}|IV|VI{{0,3}}|IX|XI{{0,2}})\s?[./-]\s?(?:{_YEAR}|[0-9]{{2}})(?![0-9A-Za-z])"),
    _p(kinds.DATE, rf"(?<![A-Za-z]){_MONTH} {_DAY}(?:st|nd|rd|th)?(?![0-9A-Za-z.])", _is_word_may),
    _p(kinds.DATE, rf"\b(?:dated?|dob|born|birth\s?day|d\.o\.b\.?|recorded on|tested on|measured on|visited on|on the)\s*:?\s*({_DAY}[./-]{_MON}(?:[./-][0-9]{{2,4}})?)(?![0-9])"),
    _p(kinds.DATE, r"\b(?:dob|born(?: in| on)?|birth\s?day|birth\s?date|date of birth|d\.o\.b\.?)\s*:?\s*([0-9]{1,2} ?[0-9]{1,2} ?[0-9]{2,4}|[0-9]{6,8})(?![0-9])"),
    _p(kinds.TIME, r"(?<![0-9:.,])(?:[01][0-9]|2[0-3])[:h.][0-5][0-9]:[0-5][0-9](?:[.,][0-9]+)?(?![0-9:])", _is_duration),
    _p(kinds.TIME, r"(?<![0-9:.,/-])(?:[01][0-9]|2[0-3]):[0-5][0-9](?![0-9:])", _is_duration),
    _p(kinds.TIME, r"(?<![0-9:.,])(?:1[0-2]|0?[1-9])(?:[:.][0-5][0-9])? ?(?:a\.m\.?|p\.m\.?|am|pm)(?![A-Za-z0-9])"),
    _p(kinds.TIME, r"\b(?:at|around|from|until|before|by|kl\.?) (?:[1-9]|1[0-9]|2[0-3])(?:[:.][0-5][0-9])? ?(?:o'clock|uhr|hrs)\b"),
    _p(kinds.TIME, r"\b(?:at|around|from|until|before|kl\.?|um|klokken) ((?:[1-9]|1[0-9]|2[0-3])[:.][0-5][0-9])(?![0-9:]|\s?(?:m|s|N|kg|Hz|deg|%|km)\b)", _is_duration),
    _p(kinds.TIME, r"\b(?:at|around) ((?:[01][0-9]|2[0-3])[0-5][0-9]) ?(?:h|hrs|hours)\b"),
    # ages of 90 and more; 89 itself may stay
    _p(kinds.OLD_AGE, r"\b(?:aged?|alder|alter)\s*(?:of|is|was|now|:|=|,)*\s*((?:9[0-9]|1[0-2][0-9]))(?![0-9.]|\s?(?:%|m\b|s\b|kg|Hz))"),
    _p(kinds.OLD_AGE, r"(?<![0-9.])(?:9[0-9]|1[0-2][0-9])[- ]?(?:years?|yrs?|yr|year|y\.?)(?:[- ](?:old|of age)|/o\b|\.?o\.?\b)"),
    _p(kinds.OLD_AGE, r"\bninety(?:[- ](?:one|two|three|four|five|six|seven|eight|nine))?[- ]years?[- ](?:old|of age)"),
    _p(kinds.OLD_AGE, r"(?<![0-9.])(?:9[0-9]|1[01][0-9])\s?(?:yo|y/o|y\.o\.)(?![A-Za-z])"),
    # numbers that follow a word
    _p(kinds.PHONE, _after(r"tel|telephone|phone|mobile|mob|cell|fax|telefon|tlf|handy|whatsapp|call(?: (?:her|him|me|us|them))?(?: on| at)?|sms|text(?: to)?|ring(?: (?:her|him|me|us|them))?(?: on| at)?|ext", r"\+?\(?[0-9][0-9 ()./-]{4,22}[0-9]"), _no_long_number),
    _p(kinds.PHONE, r"(?<![\w.,])(?:\+|00)[1-9][0-9]{0,2}[ .-]?(?:\(0?\)[ .-]?)?\(?[0-9]{1,4}\)?(?:[ .-]?[0-9]{2,4}){2,4}(?![\w]|[.,][0-9])"),
    _p(kinds.PHONE, r"(?<![\w.,+-])\(?[2-9][0-9]{2}\)?[-.][0-9]{3}[-.][0-9]{4}(?![\w]|[.,][0-9])"),
    _p(kinds.PHONE, r"(?<![\w.,+-])\([0-9]{2,5}\) ?[0-9]{3,4}[ -]?[0-9]{3,4}(?![\w]|[.,][0-9])"),
    _p(kinds.PHONE, r"(?<![\w.,+-])0[1-9][0-9]{1,3}[ /-][0-9]{3,4}(?:[ -]?[0-9]{3,4})(?![\w]|[.,][0-9])"),
    _p(kinds.PHONE, r"(?<![\w.,+-])0[1-9][0-9]{8,9}(?![\w]|[.,][0-9])"),
    _p(kinds.NATIONAL, r"(?<![\w.,-])[0-9]{3}-[0-9]{2}-[0-9]{4}(?![\w-]|[.,][0-9])"),
    _p(kinds.NATIONAL, _after(r"ssn|social security|national insurance|ni number|nin|national identity|personal(?: identity)? number|person(?:al)?nummer|f[øo]dselsnummer|cpr|bsn|pesel|tax(?:payer)?(?: identification)?|passport", _NUMBER), _no_long_number),
    _p(kinds.NATIONAL, r"(?<![\w-])[A-CEGHJ-PR-TW-Z][A-CEGHJ-NPR-TW-Z] ?[0-9]{2} ?[0-9]{2} ?[0-9]{2} ?[A-D](?![\w-])", None, 0),
    _p(kinds.NATIONAL, r"(?<![\w.,+-])[0-9]{6}[ -]?[0-9]{5}(?![\w]|[.,][0-9])", _no_date_in_it),
    _p(kinds.NATIONAL, r"(?<![\w.,+-])[0-9]{6}[-+][0-9]{4}(?![\w]|[.,][0-9])", _no_date_in_it),
    _p(kinds.RECORD, _after(r"mrn|emr|ehr|nhs|(?:medical|health|hospital|clinic|clinical|patient|chart|case)(?: record)?|journal|krankenakte|casenote|hospital|admission|referral", _NUMBER), _no_long_number),
    _p(kinds.RECORD, _after(r"record (?:number|no|nr|id)", _NUMBER), _no_long_number),
    # a word for number, in any of many languages, and six digits or more
    _p(kinds.RECORD, r"(?:nummer|n[úu]mero|num[ée]ro|numer[oa]?|number|dossier|fall|akte|pacient[ea]?|pacjenta|patient|pat ?id|pid|nhc|urn|acc\.? ?(?:no|nr)|accession|cl[íi]nica|cartella|journal|kartei|sygnatura|номер|карт[аы]|号|號|番号|번호|αριθμός|מספר|رقم)[^\S\n]?(?:no|nr|id|n[º°])?[.: =#º°-]{0,3}([A-Z]{0,3}[0-9]{5,12})(?![0-9])", None),
    _p(kinds.DATE, r"(?<![0-9.,:/-])(?:0[1-9]|[12][0-9]|3[01])[ |](?:0[1-9]|1[0-2])[ |](?:19|20)[0-9]{2}(?![0-9])"),
    _p(kinds.DATE, r"(?<![0-9.,:/-])(?:0[1-9]|[12][0-9]|3[01])\.(?:0[1-9]|1[0-2])\.(?![0-9])"),
    _p(kinds.DATE, r"(?<![0-9.,:/-])(?:0?[1-9]|[12][0-9]|3[01])(?:st|nd|rd|th|\.)?[-_]?(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]{0,6}[-_]?(?:19|20)?[0-9]{2}(?![0-9])"),
    # a list, file or collection of people, and a number with signs in it
    _p(kinds.RECORD, r"(?<![^\W_])(?:fall|akten?|akte|hist[oó]ria|historia|kart[aoy]|chorobopis\w{0,2}|list|registry|biobank|file|dossier|fichier|kartei)(?:nummer|nr)?\.?[^\S\n]?(?:id|no|nr|n[º°]|č)?[.: =#º°-]{0,3}([A-Z]{0,3}-?[0-9][0-9A-Z]*(?:[-/][0-9A-Z]+){1,3}|[0-9]{4,12})(?![0-9A-Za-z./-])", _no_long_number),
    _p(kinds.INSURANCE, _after(r"insurance|insured|policy|health plan|plan member|beneficiary|subscriber|medicare|medicaid|krankenkasse|versicherung(?:snummer)?", _NUMBER), _no_long_number),
    _p(kinds.ACCOUNT, _after(r"account|acct|a/c|iban|sort code|routing|swift|bic|bank|konto|kontonummer|card|visa|invoice|payment", _NUMBER), _no_long_number),
    _p(kinds.ACCOUNT, r"(?<![\w-])[A-Z]{2}[0-9]{2}(?: ?[A-Z0-9]{4}){2,7}(?: ?[A-Z0-9]{1,3})?(?![\w-])", lambda t, a, b: sum(c.isdigit() for c in t[a:b]) < 8, 0),
    _p(kinds.ACCOUNT, r"(?<![\w.,-])(?:[0-9]{4}[ -]){3}[0-9]{4}(?![\w]|[.,][0-9])", _fails_checksum),
    _p(kinds.ACCOUNT, r"(?<![\w.,-])[3-6][0-9]{15}(?![\w]|[.,][0-9])", _fails_checksum),
    _p(kinds.LICENCE, _after(r"licen[cs]e|certificate|cert|permit|registration certificate|diploma|driving licen[cs]e|licen[cs]e holder|lisens|f[øo]rerkort", _NUMBER), _innocent_certificate),
    _p(kinds.VEHICLE, _after(r"(?:licen[cs]e|number|registration|car|vehicle) plate|vehicle(?: registration)?|car(?: reg(?:istration)?)?|van|registration(?: mark)?|reg|parked|kennzeichen|vin", r"(?=[A-Z0-9 -]*[0-9])(?=[A-Z0-9 -]*[A-Z])[A-Z0-9]{1,4}[- ]?[A-Z0-9]{1,5}(?:[- ][A-Z0-9]{1,5})?"), lambda t, a, b: not t[a:b].replace(" ", "").replace("-", "").isupper(), ),
    _p(kinds.VEHICLE, r"(?<![\w-])(?=[A-HJ-NPR-Z0-9]*[0-9][A-HJ-NPR-Z0-9]*[0-9])(?=[A-HJ-NPR-Z0-9]*[A-HJ-NPR-Z][A-HJ-NPR-Z0-9]*[A-HJ-NPR-Z])[A-HJ-NPR-Z0-9]{11}[0-9]{6}(?![\w-])", None, 0),
    _p(kinds.DEVICE, _after(r"serial|serial (?:number|no|nr)|ser\.? ?(?:no|nr)|s/n|sn|imei|udi|device|sensor serial|unit serial|seriennummer|serienr|asset(?: tag)?|implant", _NUMBER), lambda t, a, b: _no_long_number(t, a, b) or sum(c.isdigit() for c in t[a:b]) < 5),
    _p(kinds.BODY, r"\b(?:finger|thumb|voice|palm|retina|iris|face)[- ]?(?:print|scan|template)s?\b[^.]{0,20}?[A-Z0-9]*[0-9]{2,}"),
    _p(kinds.OTHER_NUMBER, _after(r"employee|staff|student|membership|member|club|bib|race|user ?name|user|login|badge|loyalty|parkrun|profile|athlete id|runner id card|handle", r"(?=[A-Z._-]*[0-9@])@?[A-Z0-9][A-Z0-9._-]{3,30}"), lambda t, a, b: sum(c.isdigit() for c in t[a:b]) < 2),
    HANDLE,
    _p(kinds.OTHER_NUMBER, r"\b(?i:initials)\b\s*(?:are|is|:|=)?\s*([A-Z](?:\.? ?[A-Z]){1,3}\.?)(?![A-Za-z])", None, 0),
    _p(kinds.OTHER_NUMBER, r"\b(?i:signed|checked|entered|operator|tester|examiner|by)\s?:\s?([A-Z](?:\.?[A-Z]){1,3}\.?)(?![A-Za-z])", None, 0),
    # a number of five digits and more behind a word for number, whatever it is the number of; of frames and the like not
    _p(kinds.RECORD, r"(?:(?<![^\W_])(?:no|nr|num|number|nummer|n[°º]|№|č)|[^\W\d_]{4,}nr)[.:]?\s{0,2}[:#]?\s?([A-Z]?[0-9][0-9./-]{3,20}[0-9])(?![\w]|[.,][0-9])", _counts_something),
    _p(kinds.DATE, rf"(?<![0-9]){_TWO_DAY}{_TWO_MON}{_YEAR}(?![0-9])"),
    _p(kinds.DATE, rf"(?<![0-9A-Za-z]){_YEAR}-?W[0-5][0-9](?:-?[1-7])?(?![0-9A-Za-z])"),
    _p(kinds.DATE, r"\b(?:dob|born(?: in)?|geb(?:oren)?\.?|née? en)\s*:?\s*((?:0?[1-9]|1[0-2])[/.-](?:19|20)[0-9]{2})(?![0-9])"),
    _p(kinds.PHONE, r"(?<![\w.,+-])0[1-9](?:[ .][0-9]{2}){4}(?![\w]|[.,][0-9])"),
    # a day beside a word that says so, in several languages: forms too close to versions and ratios to count alone
    _p(kinds.DATE, r"(?<![^\W_])(?:born|geb(?:oren)?|n[ée]e?|nacid[oa]|nato|nata|nascid[oa]|født|född|syntynyt|ur|nar|dob|date[ds]?|datum|fecha|data|dato|päivä|am|vom|on|le|el|il|em|op|den|dne|dnia)\.?:?\s+((?:0?[1-9]|[12][0-9]|3[01])[./-](?:0?[1-9]|1[0-2])(?:[./-](?:(?:19|20)?[0-9]{2})?)?)(?![0-9]|\s?(?:m|s|N|kg|Hz|%|km|mm)\b)"),
    # places
    _p(kinds.PLACE, r"(?<![^\W_])(?:[Uu]l(?:\.|ica)|[Aa]l(?:\.|eja)|[Nn]ám(?:\.|ěstí)|[Aa]v(?:\.|da\.?|enida)|[Rr]ua|[Cc]/|[Cc]alle|[Cc]amino|[Pp]aseo|[Pp]laza|[Vv]ia|[Vv]iale|[Cc]orso|[Pp]iazza|[Vv]icolo|[Rr]ue|[Cc]hemin|[Aa]llée|[Ii]mpasse|[Qq]uai|[Tt]ravessa|[Pp]raça) (?:d[aeiou]l?l?a?s? |de la |du |des )?[A-ZÀ-ÞŁŚŻŽČŘŠ][\w'’-]+(?: [A-ZÀ-Þ][\w'’-]+)?,? (?:n[º°.] ?)?[0-9]{1,4}[a-z]?(?![\w])", None, 0),
    _p(kinds.PLACE, r"(?<![^\W_])[A-ZÀ-ÞŁŚŻŽČŘŠ][\w'’-]*(?: |-)?(?:utca|út|útja|sokak|sokağı|cad(?:desi)?|gade|vænget|tee|puiestee|iela|gatvė|ring|damm|ufer|steig|pfad|kade|gracht|plein|singel|dreef)\.?,? [0-9]{1,4}[a-z]?(?![\w])", None, 0),
    _p(kinds.PLACE, r"(?<![\w.])[0-9]{1,4}[a-z]?,? (?:[A-Z][\w'-]+ ){1,3}(?:Rd|St|Ave|Ln|Dr|Ct|Pl|Sq|Cl|Cres|Blvd|Gdns|Pk|Vale|View|Rise|Green|Park|Quay|Wharf|Yard|Mount|Bank|Croft|Fold|Brow|Gate|Side|Villas)\b(?!\s?[0-9])", None, 0),
    _p(kinds.PLACE, rf"(?<![\w.])[0-9]{{1,4}}[a-z]?,? (?:[A-Z][\w'-]+ ){{1,3}}{_STREET}(?![\w])", None, 0),
    _p(kinds.PLACE, r"(?<![\w])[A-ZÆØÅÄÖÜ][\w-]*(?:gata|gate|gaten|vei|veien|vegen|stra(?:ß|ss)e|weg|gasse|laan|straat|gatan|v[äa]gen|vej|katu|tie|allee|platz|plass)\s?[0-9]{1,4}\s?[A-Za-z]?(?![\w])", None, 0),
    _p(kinds.PLACE, r"(?<![\w])(?:rue|avenue|boulevard|via|viale|piazza|calle|avenida|plaza) (?:d[aeiou]l?a?s? |de la |du )?[A-Z][\w'-]+(?: [A-Z][\w'-]+)?,? [0-9]{1,4}(?![\w])|(?<![\w.])[0-9]{1,4},? (?:rue|avenue|boulevard) (?:d[eu]s? |de la )?[A-Z][\w'-]+", None, 0),
    _p(kinds.PLACE, r"(?<![\w-])(?:GIR ?0AA|[A-PR-UWYZ][A-HK-Y]?[0-9][0-9A-HJKPSTUW]? [0-9][ABD-HJLNP-UW-Z]{2})(?![\w-])", None, 0),
    _p(kinds.PLACE, rf"(?<![\w-])(?:{_STATES}),? [0-9]{{5}}(?:-[0-9]{{4}})?(?![\w-])", None, 0),
    _p(kinds.PLACE, r"(?<![\w.,-])[0-9]{5}-[0-9]{4}(?![\w]|[.,][0-9])"),
    _p(kinds.PLACE, r"\b(?:zip|zip code|post ?code|postal code|plz|postnummer|postnr)\s*[:=#]?\s*([A-Z0-9][A-Z0-9 -]{3,8})(?![\w])", lambda t, a, b: sum(c.isdigit() for c in t[a:b]) < 2),
    _p(kinds.PLACE, r"(?<![\w.])(?:D|CH|A|NO|N|SE|DK|FI)-[0-9]{4,5} [A-ZÆØÅÄÖÜ][\w-]+|(?<![\w.,:-])[0-9]{4,5} [A-ZÆØÅÄÖÜ][a-zæøåäöü]{3,}(?:, (?:Norway|Germany|Sweden|Denmark|Austria|Switzerland|Finland|France|Italy|Spain))", None, 0),
    _p(kinds.PLACE, r"(?<![\w.])[-+]?[0-9]{1,2}\.[0-9]{3,}\s?°?\s?[NS]?\s?[,;/ ]\s?[-+]?[0-9]{1,3}\.[0-9]{3,}\s?°?\s?[EW](?![\w])"),
    _p(kinds.PLACE, r"(?<![\w.])[0-9]{1,2}°\s?[0-9]{1,2}['′]\s?(?:[0-9.]+[\"″]?)?\s?[NS]\b"),
    _p(kinds.PLACE, r"\b(?:lat|latitude|lon|long|longitude|gps|coordinates)\s*[:=]?\s*\(?\s*([-+]?[0-9]{1,3}\.[0-9]{3,}(?:\s*[,;]\s*[-+]?[0-9]{1,3}\.[0-9]{3,})?)"),
    _p(kinds.PATH, r"(?<![\w])[a-z]:[\\/]+(?:users|documents and settings|home)[\\/]+(?!public|default|all users|lab[\\/])[\w .-]{2,40}"),
    _p(kinds.PATH, r"(?<![\w])[a-z]:\\[^\s\"'<>|]{2,200}|(?<![\w\\])\\\\[\w.-]{2,40}\\[^\s\"'<>|]{1,200}"),
    _p(kinds.PATH, r"(?<![\w.])/(?:home|users)/(?!user/|shared/)[\w.-]{2,40}"),
)  # fmt: skip

#: First three digits of the areas of 20,000 people or fewer, in which not even they may stay (HHS OCR guidance 2012,
#: Census 2000). Any longer postcode is found by its form.
SMALL_AREAS = (
    "036", "059", "063", "102", "203", "556", "692", "790", "821", "823", "830", "831", "878", "879", "884", "890",
    "893",
)  # fmt: skip
ZIP3 = re.compile(
    r"\b(?:zip|zip code|zip3)\s*[:=#]?\s*(" + "|".join(SMALL_AREAS) + r")(?:\*\*|xx|XX)?(?![0-9A-Za-z])", _I
)
