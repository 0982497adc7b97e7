"""What is refused when a check is declared, and what a fault must tell when it is found."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from checks.findings import Status
from checks.registry import (
    Limit,
    Looked,
    RegistrationError,
    Subject,
    Weight,
    catalogue,
    check,
    looked,
)
from checks.run import run_one
from schemas.trial import Trial
from tests.builders import a_trial
from tests.checks.running_checks import STAMP, of_trial

USUAL: dict[str, Any] = {
    "about": Subject.TRIAL,
    "weight": Weight.NOTES,
    "seen": "Plate {number} reads {level_n:.1f} N.",
    "expected": "At most {most_n:g} N.",
    "remedy": "Set it to zero.",
    "words": ("number", "level_n"),
    "limits": {"most_n": Limit("N", "common practice")},
}


def an_invented_check(trial: Trial, *, most_n: float = 10) -> Looked:
    """Plates read nothing.

    Otherwise every force is wrong.
    """
    return looked(1)


def without_a_reason(trial: Trial, *, most_n: float = 10) -> Looked:
    """Plates read nothing."""
    return looked(1)


def without_a_sentence(trial: Trial, *, most_n: float = 10) -> Looked:
    return looked(1)


def of_another_type(trial: str, *, most_n: float = 10) -> Looked:
    """Plates read nothing.

    Otherwise every force is wrong.
    """
    return looked(1)


def of_nothing_there_is(trial: Trial, footprints: Any, *, most_n: float = 10) -> Looked:
    """Plates read nothing.

    Otherwise every force is wrong.
    """
    return looked(1)


def of_a_threshold_in_words(trial: Trial, *, most_n: str = "few") -> Looked:
    """Plates read nothing.

    Otherwise every force is wrong.
    """
    return looked(1)


def with_whatever(trial: Trial, *, most_n: float = 10, **rest: float) -> Looked:
    """Plates read nothing.

    Otherwise every force is wrong.
    """
    return looked(1)


@pytest.mark.parametrize(
    ("function", "changes", "told"),
    [
        (an_invented_check, {"seen": "Plate {plate} reads {level_n} N."}, "messages name 'plate'"),
        (an_invented_check, {"expected": "At most {most_kn:g} kN."}, "messages name 'most_kn'"),
        (an_invented_check, {"remedy": "Set plate {} to zero."}, "messages name ''"),
        (an_invented_check, {"words": ("number", "level_n", "spare")}, "no message names spare"),
        (an_invented_check, {"words": ("number", "level_n", "most_n")}, "most_n is a limit or a place already"),
        (an_invented_check, {"seen": "Plate {number reads {level_n} N."}, "seen is a broken template"),
        (an_invented_check, {"remedy": "Set it to zero"}, "remedy is not a sentence"),
        (an_invented_check, {"limits": {"most_n": Limit("newton", "common practice")}}, "'newton' is no UCUM unit"),
        (an_invented_check, {"limits": {"most_n": Limit("", "common practice")}}, "'' is no UCUM unit"),
        (an_invented_check, {"limits": {"most_n": Limit("J/kg.m", "common practice")}}, "write brackets"),
        (an_invented_check, {"limits": {"most_n": Limit("N", " ")}}, "limit most_n has no source"),
        (an_invented_check, {"limits": {}}, "differ"),
        (an_invented_check, {"weight": "heavy"}, "weight 'heavy' is none of stops, withholds, returns, notes"),
        (an_invented_check, {"about": "plate"}, "subject 'plate' is none of delivery, reading, trial, site"),
        (an_invented_check, {"about": Subject.DELIVERY}, "a check about a delivery is shown arrived, consent, "),
        (without_a_reason, {}, "the docstring says why"),
        (without_a_sentence, {}, "what must be true"),
        (of_nothing_there_is, {}, "not footprints"),
        (of_another_type, {}, "parameter trial is stated as str and shown as Trial"),
        (of_a_threshold_in_words, {}, "limit most_n has no number"),
        (with_whatever, {}, "parameter rest takes what nobody named"),
    ],
)
def test_a_check_that_could_not_work_is_refused(
    function: Callable[..., Looked], changes: dict[str, Any], told: str
) -> None:
    with pytest.raises(RegistrationError, match=f"check {function.__name__}: ") as refused:
        check(**{**USUAL, **changes})(function)
    assert told in str(refused.value)
    assert function.__name__ not in catalogue()


def test_everything_that_is_wrong_is_told_at_once() -> None:
    with pytest.raises(RegistrationError) as refused:
        check(**{**USUAL, "weight": "heavy", "remedy": "Set {it} to zero"})(without_a_reason)
    assert all(told in str(refused.value) for told in ("'heavy'", "'it'", "says why", "full stop"))


def test_two_checks_cannot_have_one_name() -> None:
    def plates_read_zero_unloaded(trial: Trial, *, most_n: float = 10) -> Looked:
        """Plates read nothing.

        Otherwise every force is wrong.
        """
        return looked(1)

    with pytest.raises(RegistrationError, match=r"force\.plates has a check of the same name"):
        check(**USUAL)(plates_read_zero_unloaded)


def test_a_fault_that_does_not_tell_a_word_of_the_messages_is_a_crash_that_says_so() -> None:
    spec = catalogue()["vertical_force_points_up"]
    broken = replace(spec, function=lambda trial, **limits: looked(1, [{"number": 1}]))
    report = run_one(broken, of_trial(a_trial()), STAMP)
    assert report.runs[0].status is Status.CRASHED
    assert "a fault does not tell mean_n, which a message names" in str(report.runs[0].reason)
    assert report.findings[0].weight is Weight.RETURNS
