import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from schemas.consent_history import History, events
from schemas.convert.to_arrow import empty_frame
from schemas.delivery import SENT_CONSENTS


def consents(*events: tuple) -> pd.DataFrame:
    """Consents of runner P1: (scope, event, day)."""
    frame = empty_frame(SENT_CONSENTS).reindex(range(len(events)))
    frame["participant_id"] = "P1"
    for row, (scope, event, day) in enumerate(events):
        frame.loc[row, ["scope", "event", "study_day"]] = [scope, event, day]
    return frame.assign(form_version="1")


def covered(told: pd.DataFrame, runner: str, day: int | None, scopes: list[str]) -> bool:
    return History(events(told)).covered(runner, day, scopes)


GIVEN = ("force", "given", 0)


@pytest.mark.parametrize(
    ("events", "day", "expected"),
    [
        ([], 5, False),
        ([GIVEN], 0, True),
        ([GIVEN], 500, True),
        ([("force", "given", 3)], 2, False),
        ([GIVEN, ("force", "withdrawn", 5)], 4, True),
        ([GIVEN, ("force", "withdrawn", 5)], 5, False),
        ([GIVEN, ("force", "withdrawn", 5)], 6, False),
        ([GIVEN, ("force", "withdrawn", 5), ("force", "given", 8)], 7, False),
        ([GIVEN, ("force", "withdrawn", 5), ("force", "given", 8)], 8, True),
        ([("force", "given", 5), ("force", "withdrawn", 5)], 5, False),
        ([("force", "withdrawn", 5), ("force", "given", 5)], 5, False),
        ([("force", "given", 8), GIVEN, ("force", "withdrawn", 5)], 9, True),
        ([("motion", "given", 0)], 5, False),
        ([GIVEN, ("motion", "withdrawn", 1)], 5, True),
        ([("force", "given", None)], 5, False),
        ([GIVEN, ("force", "withdrawn", None)], 5, False),
        ([GIVEN, (None, "withdrawn", 3)], 5, False),
        ([GIVEN, (None, "withdrawn", 3)], 2, True),
        ([(None, "given", 0)], 5, False),
        ([GIVEN, ("force", None, 3)], 2, True),
        ([GIVEN, ("force", None, 3)], 5, False),
        ([GIVEN, ("force", None, None)], 0, False),
        ([GIVEN, ("motion", None, None)], 5, True),
        ([GIVEN, ("force", "given", None)], 5, False),
        ([GIVEN, (None, "given", 3)], 5, False),
        ([GIVEN, ("force", "revoked", 3)], 5, False),
        ([GIVEN, ("forces", "withdrawn", 3)], 5, False),
        ([GIVEN, ("forces", "given", 3)], 5, False),
        ([GIVEN, GIVEN], 5, True),
    ],
)
def test_the_last_event_on_or_before_the_day_decides_and_what_is_not_understood_counts_against(events, day, expected):
    assert covered(consents(*events), "P1", day, ["force"]) is expected


def test_every_scope_must_be_covered():
    frame = consents(GIVEN, ("motion", "given", 0))
    assert covered(frame, "P1", 1, ["force", "motion"])
    assert not covered(frame, "P1", 1, ["force", "motion", "pooling"])


def test_another_runners_consent_is_not_ones_own():
    assert not covered(consents(GIVEN), "P2", 1, ["force"])


def a_line(runner: str | None, *event: object) -> pd.DataFrame:
    """The runner P1's consent to force, and one line more."""
    return pd.concat([consents(GIVEN), consents(event).assign(participant_id=runner)], ignore_index=True)


@pytest.mark.parametrize("runner", ["p1", "P1 ", " P1", "\tp1\u00a0"])
def test_a_withdrawal_counts_whatever_the_case_and_the_spaces_of_the_id(runner: str) -> None:
    assert not covered(a_line(runner, "force", "withdrawn", 1), "P1", 5, ["force"])


@pytest.mark.parametrize("runner", ["p1", "P1 "])
def test_a_giving_counts_only_for_the_id_as_it_is_spelled(runner: str) -> None:
    told = consents(GIVEN).assign(participant_id=runner)
    assert not covered(told, "P1", 5, ["force"])
    assert History(events(told)).is_spelled_otherwise("P1")


def test_another_runners_withdrawal_takes_nothing_away() -> None:
    assert covered(a_line("P11", "force", "withdrawn", 1), "P1", 5, ["force"])


@pytest.mark.parametrize("word", ["withdrawn", None, "revoked"])
def test_a_line_whose_runner_cannot_be_read_may_be_about_anybody_unless_it_only_gives(word: str | None) -> None:
    assert not covered(a_line(None, "force", word, 1), "P1", 5, ["force"])
    assert covered(a_line(None, "force", "given", 1), "P1", 5, ["force"])


def test_after_all_that_is_known_a_withdrawal_of_any_day_counts() -> None:
    assert covered(consents(GIVEN), "P1", None, ["force"])
    assert not covered(consents(GIVEN, ("force", "withdrawn", 900)), "P1", None, ["force"])


EVENTS = st.tuples(st.sampled_from(["force", "motion"]), st.sampled_from(["given", "withdrawn"]), st.integers(0, 6))


@given(st.lists(EVENTS, max_size=6), st.integers(0, 7), st.randoms())
def test_the_order_of_rows_does_not_matter(events, day, random):
    shuffled = random.sample(events, len(events))
    assert covered(consents(*events), "P1", day, ["force"]) == covered(consents(*shuffled), "P1", day, ["force"])


@given(st.lists(EVENTS, max_size=6), st.integers(0, 7))
def test_a_later_event_changes_nothing_before_it(events, day):
    frame = consents(*events)
    later = consents(*events, ("force", "withdrawn", day + 1), ("force", "given", day + 2))
    assert covered(frame, "P1", day, ["force"]) == covered(later, "P1", day, ["force"])
