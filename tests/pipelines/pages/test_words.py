"""How facts are said on a page."""

from __future__ import annotations

import pytest

from checks.registry import catalogue
from pipelines.pages import cautions, words
from schemas import codes


def test_a_check_is_said_as_its_catalogue_says_it() -> None:
    assert words.check_words("plates_read_zero_unloaded") + "." == catalogue()["plates_read_zero_unloaded"].sentence


def test_a_check_of_an_earlier_version_is_its_name_in_words() -> None:
    assert words.check_words("runners_have_two_feet") == "Runners have two feet"


def test_every_caution_belongs_to_a_check_that_exists() -> None:
    assert set(cautions._ABOUT) <= set(catalogue())


def test_every_word_of_a_status_has_a_sign() -> None:
    for code in (*codes.STANDING, *codes.DELIVERY_STATUS):
        assert words.SIGNS[code.value]
    assert set(words.STATUS_WORDS) == {code.value for code in codes.DELIVERY_STATUS}
    assert set(words.WEIGHT_WORDS) == {code.value for code in codes.WEIGHT}


def test_no_two_standings_share_a_sign() -> None:
    assert len({words.SIGNS[code.value] for code in codes.STANDING}) == len(codes.STANDING)


@pytest.mark.parametrize(
    ("visit", "said"),
    [
        ("first", "first (week 0)"),
        ("week_5", "week 5"),
        ("week_15", "week 15 (week 5)"),
        (None, "visit not known"),
        ("elsewhere_1", "elsewhere 1"),
    ],
)
def test_a_visit_says_its_week_once(visit: str | None, said: str) -> None:
    weeks = {"first": 0, "week_5": 5, "week_15": 5}
    assert words.visit_words(visit, weeks) == said


@pytest.mark.parametrize(
    ("count", "said"),
    [(0, "0 bytes"), (999, "999 bytes"), (1234, "1.2 kB"), (1_234_567, "1.2 MB"), (3 * 10**11, "300.0 GB")],
)
def test_sizes_read_as_people_say_them(count: int, said: str) -> None:
    assert words.size_words(count) == said


@pytest.mark.parametrize(("value", "said"), [(0.0041, "+0.004"), (-0.0041, "−0.004"), (-0.0001, "0.000")])
def test_a_difference_has_its_sign_unless_it_rounds_to_nothing(value: float, said: str) -> None:
    assert words.signed(value, 3) == said


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        ("-13.8 % off", "\N{MINUS SIGN}13.8 % off"),
        ("from -2 to -1 m", "from \N{MINUS SIGN}2 to \N{MINUS SIGN}1 m"),
        ("FS-01-w5, 3-5, 2026-03-21, 1e-9", "FS-01-w5, 3-5, 2026-03-21, 1e-9"),
        ("--check", "--check"),
    ],
)
def test_negative_numbers_have_a_minus_sign_and_ids_stay_as_they_are(said: str, shown: str) -> None:
    assert words.with_minus(said) == shown


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("it reads -0.04 V, +0 N and -0 N, and 0.2 N.m.", "it reads −0.04 V, 0 N and 0 N, and 0.2 N·m."),
        ("-0.0 mm of FS-01 in frames 3-5, +0.5 N", "0.0 mm of FS-01 in frames 3-5, +0.5 N"),
        ("a step of 25 uV; write uV into unit_code", "a step of 25 µV; write uV into unit_code"),
        ("from -031 to -10", "from −031 to −10"),
    ],
)
def test_sentences_of_checks_have_one_minus_no_signed_zero_and_signs_for_units(written: str, read: str) -> None:
    assert words.as_read(written) == read
