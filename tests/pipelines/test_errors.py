"""What a person is told of input that cannot be used."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from pipelines.errors import Unusable


@given(st.text(max_size=40), st.text(max_size=40))
def test_no_message_steers_the_terminal_or_turns_its_line_round(said: str, named: str) -> None:
    error = Unusable(f"It says {said}.", f"not {said}.", "Send it again.", file=named, place=said)
    for text in (str(error), error.seen, error.expected, error.file, error.place):
        assert text is not None
        assert all(c.isprintable() or c == "\n" for c in text)


def test_what_can_be_printed_is_told_as_it_stands() -> None:
    error = Unusable("Größe is 名.", "a number.", "Write it.", file="a/ü.csv", place="line 3")
    assert str(error) == "a/ü.csv, line 3: Größe is 名. Expected: a number. What to do: Write it."
