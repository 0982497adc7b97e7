# ruff: noqa: E501  (a pattern cut into pieces is harder to check than a long line)
"""Numbers by which states know their people: after a word that says so, or alone where check digits or a day fit.

The rules of each number are those of python-stdnum; which words stand before them was written from memory.
"""

from __future__ import annotations

import importlib
import re
from collections.abc import Iterator
from functools import cache
from typing import Any

_CANDIDATE = re.compile(r"(?<![\w.,+-])[A-Z]{0,6}[0-9](?:[ ./-]?[0-9A-Z]){7,19}(?![\w]|[.,-][0-9])")
_LEAST, _MOST = 8, 18
#: Numbers that can be told without a word before them: with a day of birth in them, or with two check digits or a letter
#: beside the digits.
_TELLING = (
    "bg.egn", "be.nn", "br.cpf", "cn.ric", "cz.rc", "dk.cpr", "ee.ik", "es.dni", "es.nie", "fi.hetu", "fr.nir", "ie.pps",
    "it.codicefiscale", "kr.rrn", "lt.asmens", "mx.curp", "no.fodselsnummer", "pl.pesel", "ro.cnp", "se.personnummer",
    "tr.tckimlik", "cl.rut", "za.idnr", "in_.aadhaar", "hr.oib", "de.idnr", "ch.ssn", "gb.nhs", "nl.bsn", "us.ssn", "ca.sin",
    "au.tfn", "pt.nif", "il.idnr", "gr.amka", "is_.kennitala", "us.itin", "sk.rc", "si.emso", "lv.pvn", "th.pin", "my.nric",
    "pk.cnic", "cu.ni", "id.nik", "at.vnr", "be.bis", "mx.rfc", "fr.nif", "mu.nid",
)  # fmt: skip
_WORDS = (
    r"ssn|nhs|nino?|bsn|nir|dni|nie|nif|cpf|rg|ahv|avs|oib|tfn|sin|pps(?:n)?|cnp|egn|егн|инн|снилс|іпн|r\.?\s?č|rc|tc(?: kimlik)?"
    r"|aadhaar|pan|curp|rfc|amka|αμκα|kennitala|hetu|cpr|pesel|jmbg|emšo|emso|isikukood|asmens kodas|personas kods"
    r"|personnummer|fnr|fødselsnummer|fodselsnummer|steuer-?id(?:nummer)?|sozialversicherungsnummer|sv-?nr"
    r"|rijksregister(?:nummer)?|burgerservicenummer|codice fiscale|cod\.? ?fisc|num[ée]ro de s[ée]curit[ée] sociale"
    r"|social security|national insurance|national id|id card|身份证(?:号)?|身分證(?:字號)?|マイナンバー|주민등록번호|주민번호|паспорт|passport|pass(?:e)?port no"
)
_AFTER_A_WORD = re.compile(
    rf"(?<![^\W_])(?:{_WORDS})\.?(?:\s*(?:number|numbers|no|nr|num|id|is))?\s*[.:#=-]*\s*([A-Z]{{0,4}}[0-9](?:[ ./-]?[0-9A-Z]){{5,19}})(?!\w)",
    re.IGNORECASE,
)

_A_DAY = re.compile(r"[0-9]{1,2}([./-])[0-9]{1,2}\1[0-9]{4}|[0-9]{4}([./-])[0-9]{1,2}\2[0-9]{1,2}")


def national_ids(text: str) -> Iterator[tuple[int, int]]:
    """Where a national number stands."""
    for match in _AFTER_A_WORD.finditer(text):
        yield match.span(1)
    for match in _CANDIDATE.finditer(text.upper() if text.isascii() else text):
        number = _without_words(match[0])
        if _A_DAY.fullmatch(number):
            continue  # one of many days would pass the check digit of some country
        digits = sum(c.isdigit() for c in number)
        if digits >= _LEAST - 1 and _LEAST <= len(re.sub(r"[ ./-]", "", number)) <= _MOST and _is_one(number):
            yield match.start(), match.start() + len(number)


def _without_words(run: str) -> str:
    """A run of numbers and letters without the words behind it."""
    return re.sub(r"(?: [A-Z]+)+$", "", run)


def _is_one(number: str) -> bool:
    return any(module.is_valid(number) for module in _modules())


@cache
def _modules() -> tuple[Any, ...]:
    return tuple(importlib.import_module(f"stdnum.{name}") for name in _TELLING)
