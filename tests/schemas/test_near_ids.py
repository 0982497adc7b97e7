"""Which codes may be a slip of the pen for a runner's, and what an event under such a code does."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schemas.consent_history import GIVEN, NOT_UNDERSTOOD, WITHDRAWN
from schemas.near_ids import Runners, skeleton, that_may_concern

KNOWN = ("FS-01", "FS-02", "FS-10")
SURE = ["FS01", "fs 01", "FS-O1", "FS-0l", "F\u0405-01", "\uff26\uff33-01", "FS\u201301", "FS-01.", "FS_01", "FS-0I"]


@pytest.mark.parametrize("code", SURE)
def test_signs_that_are_left_out_or_look_alike_mean_the_same_runner(code: str) -> None:
    (near,) = [one for one in Runners(KNOWN).meant_by(code) if one.sure]
    assert near.runner == "FS-01"


@pytest.mark.parametrize(
    ("code", "runners"), [("FS-1", {"FS-01", "FS-10"}), ("FS-001", {"FS-01"}), ("GS-02", {"FS-02"})]
)
def test_one_sign_added_lost_or_changed_may_mean_a_runner(code: str, runners: set[str]) -> None:
    assert runners <= {one.runner for one in Runners(KNOWN).meant_by(code)}


@pytest.mark.parametrize("code", ["FS-01", "fs-01 ", "", "HK-77", "XX-01"])
def test_a_runners_own_code_and_one_unlike_all_mean_nobody_else(code: str) -> None:
    assert Runners(KNOWN).meant_by(code) == ()


def test_a_withdrawal_under_a_near_code_counts_against_the_runner_it_may_mean() -> None:
    told = [("FS01", "pooling", WITHDRAWN, 3)]
    assert that_may_concern(told, Runners(KNOWN)) == {("FS-01", "pooling", NOT_UNDERSTOOD, 3)}


def test_a_giving_under_a_near_code_gives_nothing() -> None:
    assert that_may_concern([("FS01", "pooling", GIVEN, 3)], Runners(KNOWN)) == set()


def test_a_code_that_gave_consent_itself_is_another_runners_unless_only_signs_differ() -> None:
    told = [("FS-03", "pooling", GIVEN, 0), ("FS-03", "pooling", WITHDRAWN, 3)]
    assert that_may_concern(told, Runners(KNOWN)) == set()
    told = [("FS03", "pooling", GIVEN, 0), ("FS03", "pooling", WITHDRAWN, 3)]
    assert that_may_concern(told, Runners((*KNOWN, "FS-03"))) == {("FS-03", "pooling", NOT_UNDERSTOOD, 3)}


@given(st.text("FSfs-0123 ", min_size=3, max_size=6), st.integers(0, 5), st.sampled_from("0123456789ABCX"))
def test_any_code_with_one_sign_changed_is_near(code: str, at: int, sign: str) -> None:
    """Against the definition: one sign added, lost or changed in the form that is compared."""
    own = skeleton(code)
    form = own[: min(at, len(own))] + sign + own[min(at, len(own)) :]
    if len(own) < 3 or skeleton(form) == own:
        return
    assert code in {one.runner for one in Runners([code]).meant_by(form)}
