"""Trials that come again: a changed one that stood accepted needs a reason, everything else does not."""

from __future__ import annotations

from typing import Any

import pytest

from checks.context import Context
from schemas.received import Changed
from tests.checks.received_builders import a_delivery, a_row
from tests.checks.running_checks import Case, of_delivery, run, status

NAME = "changed_trials_say_why"


def resent(reason: Any = None, parts: tuple[str, ...] = ("its file",)) -> Context:
    """T0 comes again unchanged; T1 came before too, stands accepted, and differs in ``parts``."""
    changed = (Changed("T1", "mill-001", parts),) if parts else ()
    rows = [a_row("T0", "standing"), a_row("T1", resend_reason=reason), a_row("T2")]
    known = {"T0": "mill-001", "T1": "mill-001"}
    return of_delivery(a_delivery(sent_trials=rows, number=2, known_trials=known, changed_trials=changed))


PLANTED = {NAME: Case(resent, "trial_id T1, column resend_reason")}
CLEAN = {NAME: lambda: resent("The left and right labels were exchanged.")}


@pytest.mark.parametrize("reason", ["", "  ", "-", "?", " ... "])
def test_a_cell_without_a_word_is_no_reason(reason: str) -> None:
    assert status(NAME, resent(reason)) == "found"


def test_a_trial_that_comes_again_unchanged_needs_no_reason() -> None:
    (ended,) = run(NAME, resent(parts=())).runs
    assert (ended.status, ended.rows_examined) == ("pass", 2)


def test_the_finding_names_the_trial_what_differs_and_the_delivery_that_stays_in_force() -> None:
    (finding,) = run(NAME, resent(parts=("its file", "its row of sessions.csv"))).findings
    assert finding.trial_id == "T1"
    assert "mill-001" in finding.seen
    assert "(its file, its row of sessions.csv)" in finding.seen


def test_a_first_delivery_has_nothing_to_look_at() -> None:
    assert status(NAME, of_delivery(a_delivery())) == "skipped"
