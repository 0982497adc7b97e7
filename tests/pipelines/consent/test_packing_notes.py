"""Notes on how a delivery was packed are told again as they were, without who has withdrawn since."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.consent.packing_notes import told_again
from pipelines.identity.identifiers import NOBODY
from pipelines.intake.litter import passed_over
from pipelines.intake.paths import shown
from schemas.received import Problem

#: Signs that part words, as names of files and folders have them.
PARTED = st.sampled_from(["", " ", "_", "-", "/", ".", "'"])


def again(note: Problem, *gone: str, scope: str = "all") -> Problem:
    (told,) = told_again([note], lambda runner: {scope} if runner in gone else set(), NOBODY)
    return told


def test_a_note_is_told_as_it_was_while_nobody_has_left() -> None:
    note = passed_over(["data/.DS_Store", "Thumbs.db"])
    assert again(note) == note


@given(before=PARTED, code=st.sampled_from(["FS-02", "FS 02", "P7", "02"]), after=PARTED)
def test_a_name_that_holds_the_code_of_who_left_is_not_told(before: str, code: str, after: str) -> None:
    name = shown(f"week{before or '_'}{code}{after}")
    note = Problem("beside", f"1 file lies in the bag, such as {name}; not kept", "x")
    assert code in again(note).seen
    assert again(note, code).seen == "1 file lies in the bag, such as (kept back); not kept"


@pytest.mark.parametrize("name", ["FS-021", "XFS-02", "FS-03"])
def test_another_code_is_told_still_and_so_is_who_withdrew_only_a_part(name: str) -> None:
    note = Problem("beside", f"the bag lies one folder deeper than it should, in '{name}'", "x")
    assert again(note, "FS-02") == note
    assert again(note, name, scope="muscle") == note
