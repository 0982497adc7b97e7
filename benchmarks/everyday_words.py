"""Makes the lists of everyday words of many languages: ``python -m benchmarks.everyday_words``, some ten minutes.

It writes ``everyday.bits``, ``names_in_joined_writings.txt`` and ``surnames_of_one_sign.txt`` beside the other lists of
``pipelines/identity/words`` and needs packages that nothing else does, installed for the purpose:
``pip install simplemma==2.0.0 wordfreq==3.1.1 faker==40.63.0 jieba==0.42.1 janome==0.5.1 pythainlp==5.4.0 babel``.

Latin, Greek and Cyrillic: the forms of simplemma (MIT) that it has in small letters (of German its nouns, too) and that
wordfreq (data CC BY-SA 4.0) has seen often enough. Arabic, Hebrew, Persian, Hindi, Bengali, Urdu, Tamil, Korean,
Vietnamese: words of wordfreq; Chinese: of wordfreq, those that jieba (MIT) does not mark as names; Japanese: those that
the IPADIC in Janome (Apache-2.0, NAIST) does not; Thai: the words of PyThaiNLP (Apache-2.0, CC0). Left out are
the names of people of the Faker library (MIT), of PyThaiNLP and of ``first_names.txt``, and months, beside which a
number may be a day. ``words/everyday.copyright`` has the licences.
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Iterable, Iterator
from functools import cache
from importlib import import_module, resources
from pathlib import Path
from typing import Any

from pipelines.identity import other_writings
from pipelines.identity.common_words import plain, words
from pipelines.identity.everyday import FILE, NOUN, bits_of, form

WORDS = Path(__file__).parents[1] / "pipelines" / "identity" / "words"
#: simplemma's code -> wordfreq's, where they differ; zipf (log10 of how often in 10^9 words) that a form has at least.
_LATIN = (
    "de", "fr", "es", "it", "pt", "nl", "sv", "da", "nb", "nn", "fi", "et", "pl", "cs", "sk", "sl", "hbs",
    "hu", "ro", "tr", "lt", "lv", "ca", "gl", "is", "id", "ms", "sq", "cy", "ga", "lb", "en",
)  # fmt: skip
_AS = {"hbs": "sh", "nn": "nb"}
_SEEN, _SEEN_AS_NOUN, _SEEN_BEYOND = 1.3, 2.0, 2.0
_WITHOUT_CAPITALS = {"ar": 3.5, "he": 3.0, "fa": 3.3, "hi": 3.3, "bn": 3.6, "ur": 3.8, "ta": 3.6}
_IN_SIMPLEMMA = ("ar", "he", "hi")
_SIGNS = re.compile(r"[\u3040-\u30ff\u3400-\u9fff]+")
#: What stands for another letter in Arabic, so that a name is known however it is spelled.
_ARABIC = str.maketrans({"أ": "ا", "إ": "ا", "آ": "ا", "ي": "ی", "ى": "ی", "ك": "ک", "ة": "ه"})


def _forms(language: str) -> frozenset[str]:
    load = import_module("simplemma.strategies.dictionaries.dictionary_factory")._load_dictionary_from_disk
    return frozenset(key.decode() for key in load(language))


@cache
def _seen(language: str) -> dict[str, float]:
    """Word -> zipf."""
    found = import_module("wordfreq").get_frequency_dict(_AS.get(language, language), wordlist="best")
    return {word: math.log10(share) + 9 for word, share in found.items()}


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, (tuple, list, dict)):
        for one in value:
            yield from _texts(one)


@cache
def _names_of(place: str) -> frozenset[str]:
    """Names in other writings than Latin of one of Faker's places, in form."""
    provider = import_module(f"faker.providers.person.{place}").Provider
    texts = (t for a in dir(provider) if "name" in a and not a.startswith("_") for t in _texts(getattr(provider, a)))
    return frozenset(form(w) for text in texts for w in re.split(r"[\s{}-]+", text) if w and not w.isascii())


@cache
def _names() -> frozenset[str]:
    folder = Path(str(import_module("faker.providers.person").__file__)).parent
    return frozenset[str]().union(
        *(_names_of(p) for p in sorted(os.listdir(folder)) if re.fullmatch("[a-z]{2}_[A-Z]{2}", p))
    )


def _latin() -> Iterator[str]:
    named = words("names_of_people") | words("first_names")
    for language in _LATIN:
        seen = _seen(language) if language != "et" else dict[str, float]()  # of Estonian wordfreq knows nothing
        for key in _forms(language):
            noun = language in ("de", "lb") and key[1:].islower()
            if (key.islower() or noun) and seen.get(key.lower(), 0) >= _SEEN:
                word = form(key)
                if len(word) >= 3 and word.isascii() and word.isalpha() and word not in named:
                    yield word
                    if language == "de" and key[0].isupper() and seen[key.lower()] >= _SEEN_AS_NOUN:
                        yield NOUN + word
    for word, often in _seen("vi").items():
        if (
            word.islower()
            and often >= 3.5
            and plain(word).isascii()
            and plain(word).isalpha()
            and plain(word) not in named
        ):
            yield form(word)


def _with_capitals() -> Iterator[str]:
    for language in ("ru", "uk", "bg", "mk", "el"):
        small = {form(key) for key in _forms(language) if key.islower()} - _names()
        for word, often in _seen(language).items():
            if often >= _SEEN_BEYOND and not word.isascii() and form(word) in small:
                yield form(word)


def _months() -> set[str]:
    dates = import_module("babel.dates")
    every = {
        form(word)
        for language in (*_WITHOUT_CAPITALS, "ar_DZ", "ar_SY", "ar_MA")
        for width in ("wide", "abbreviated")
        for context in ("format", "stand-alone")
        for name in dates.get_month_names(width, context, language).values()
        for word in re.split(r"[\s/]+", name)
    }
    return every | {"ב" + word for word in every if "\u0590" <= word[:1] < "\u0600"}


def _without_capitals() -> Iterator[str]:
    named, months = {name.translate(_ARABIC) for name in _names()}, _months()
    for language, least in _WITHOUT_CAPITALS.items():
        small = {form(key) for key in _forms(language)} if language in _IN_SIMPLEMMA else None
        for word, often in _seen(language).items():
            own = form(word)
            known = often >= least and not word.isascii() and own.translate(_ARABIC) not in named and own not in months
            if known and (small is None or own in small):
                yield own


def _chinese() -> tuple[set[str], set[str]]:
    """Words and names."""
    lines = resources.files("jieba").joinpath("dict.txt").read_text(encoding="utf-8").splitlines()
    kinds = {word: kind for word, _, kind in (line.split(" ") for line in lines)}
    named = {word for word, kind in kinds.items() if kind.startswith("nr")} | _names_of("zh_CN") | _names_of("zh_TW")
    plain_ones = {
        word
        for word, often in _seen("zh").items()
        if often >= (2.5 if len(word) > 1 else 4.5)
        and _SIGNS.fullmatch(word)
        and kinds.get(word, "x")[:2] not in ("nr", "ns", "nz", "nt", "x")
    }
    people = named | _names()
    return {word for word in plain_ones if len(word) == 1 or word not in people}, named


def _japanese() -> tuple[set[str], set[str]]:
    tokenizer, plain_ones, named = import_module("janome.tokenizer").Tokenizer(), set(), set(_names_of("ja_JP"))
    for word, often in _seen("ja").items():
        if often >= 2.6 and _SIGNS.fullmatch(word):
            parts = [token.part_of_speech for token in tokenizer.tokenize(word)]
            if any("人名" in part for part in parts):
                named.add(word)
            elif not any("固有名詞" in part for part in parts):
                plain_ones.add(word)
    return {word for word in plain_ones if len(word) == 1 or word not in named}, named


def _korean() -> tuple[set[str], set[str]]:
    named = _names_of("ko_KR")
    first = {name for name in named if len(name) == 1}
    hangul = (w for w in _seen("ko") if re.fullmatch(r"[\uac00-\ud7af]+", w))
    return {w for w in hangul if (len(w) == 1 or w not in named) and not (len(w) == 3 and w[0] in first)}, set(named)


def _thai() -> tuple[set[str], set[str]]:
    corpus = resources.files("pythainlp") / "corpus"

    def of(name: str) -> set[str]:
        return {line.strip() for line in corpus.joinpath(name).read_text(encoding="utf-8").splitlines() if line.strip()}

    named = of("family_names_th.txt") | of("person_names_female_th.txt") | of("person_names_male_th.txt")
    return of("words_th.txt") - named, named


def _written(name: str, about: str, source: str, lines: Iterable[str]) -> None:
    head = f"# {about}\n# Source: {source}\n# Made by benchmarks/everyday_words.py; one a line.\n"
    (WORDS / f"{name}.txt").write_text(head + "".join(f"{line}\n" for line in sorted(lines)), encoding="utf-8")


def main() -> None:
    """Write the three files."""
    joined = [_chinese(), _japanese(), _korean(), _thai()]
    every = {*_latin(), *_with_capitals(), *_without_capitals()}.union(*({form(w) for w in own} for own, _ in joined))
    (WORDS / FILE).write_bytes(bits_of(every))
    surnames = {n for place in ("zh_CN", "zh_TW", "ko_KR") for n in _names_of(place) if len(n) == 1}
    licence = "Faker 40.63 (MIT, Copyright (c) 2012 Daniele Faraglia; its notice stands in names_of_people.txt)"
    _written(
        "surnames_of_one_sign",
        "Surnames of China, Taiwan and Korea of one sign.",
        f"the person providers of {licence}.",
        surnames,
    )
    _written("names_in_joined_writings", "", "", ())
    words.cache_clear()
    other_writings.holds_a_stranger.cache_clear()
    named = {n for _, names in joined for n in names if len(n) > 1 and not n.isascii() and other_writings.is_joined(n)}
    _written(
        "names_in_joined_writings",
        "Names of people in Chinese, Japanese, Korean and Thai that could be cut into everyday words.",
        f"jieba 0.42 (MIT), IPADIC as in Janome 0.5 (NAIST), PyThaiNLP 5 (CC0), {licence}.",
        (name for name in named if not other_writings.holds_a_stranger(name)),
    )
    print(f"{len(every)} words")


if __name__ == "__main__":
    main()
