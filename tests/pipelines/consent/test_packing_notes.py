"""Notes on how a delivery was packed are told again as they were, without who has withdrawn since."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.consent.packing_notes import told_again
from pipelines.identity.identifiers import NOBODY
from pipelines.identity.vocabulary import Vocabulary
from pipelines.intake.litter import passed_over
from schemas.received import Problem
from schemas.said import quoted, told

#: Signs that part words, as names of files and folders have them.
OTHERS = ("FS-021", "XFS-02", "FS-03")
PARTED = st.sampled_from(["", " ", "_", "-", "/", ".", "'"])


def again(note: Problem, *gone: str, scope: str = "all") -> Problem:
    plain = Vocabulary(frozenset({"week"}), frozenset(), frozenset({"FS-02", "FS 02", "P7", *OTHERS}))
    (told,) = told_again([note], lambda runner: {scope} if runner in gone else set(), NOBODY, plain)
    return told


def test_a_note_is_told_as_it_was_while_nobody_has_left() -> None:
    note = told(passed_over([".DS_Store", "Thumbs.db"]), quoted)
    assert again(note) == note


@given(before=PARTED, code=st.sampled_from(["FS-02", "FS 02", "P7", "02"]), after=PARTED)
def test_a_name_that_holds_the_code_of_who_left_is_not_told(before: str, code: str, after: str) -> None:
    name = quoted(f"week{before or '_'}{code}{after}")
    note = Problem("beside", f"1 file lies in the bag, such as {name}; not kept", "x")
    assert again(note, code).seen == "1 file lies in the bag, such as (kept back); not kept"


@pytest.mark.parametrize("name", OTHERS)
def test_another_code_is_told_still_and_so_is_who_withdrew_only_a_part(name: str) -> None:
    note = Problem("beside", f"the bag lies one folder deeper than it should, in '{name}'", "x")
    assert again(note, "FS-02") == note
    assert again(note, name, scope="muscle") == note


def test_a_name_that_was_noted_when_more_was_shown_is_told_by_its_length() -> None:
    note = Problem("beside", "1 file lies in the bag beside its payload, such as 'Frobish.pdf'; not kept", "x")
    assert again(note).seen == (
        "1 file lies in the bag beside its payload, such as (11 characters ending in .pdf, not shown); not kept"
    )
