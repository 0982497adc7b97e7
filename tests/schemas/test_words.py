import pytest

from schemas.catalogue import TABLES
from schemas.convert.words import column_comment, expectation, range_words
from schemas.model import Code, Field, Kind


def a_field(kind: Kind = Kind.REAL, **rest) -> Field:
    name = "x_s" if kind is Kind.REAL else "x"
    unit = {"unit": "s"} if kind is Kind.REAL else {}
    return Field(name, kind, "A thing.", **(unit | rest))


@pytest.mark.parametrize(
    ("field", "words"),
    [
        (a_field(), "a number in s"),
        (a_field(low=0), "a number, 0 s or more"),
        (a_field(high=2.5), "a number, 2.5 s or less"),
        (a_field(low=0, high=2.5), "a number from 0 to 2.5 s"),
        (a_field(low=0, high=2.5, nullable=True), "a number from 0 to 2.5 s, or empty"),
        (a_field(Kind.INTEGER, low=1), "a whole number, 1 or more"),
        (a_field(Kind.INTEGER, low=-60, high=1000, unit="d"), "a whole number from -60 to 1000 days"),
        (a_field(Kind.BOOLEAN), "true or false"),
        (a_field(Kind.CODE, codes=(Code("left", "L."), Code("right", "R."))), "one of left, right"),
        (a_field(Kind.CODE, study_list="marker_roles"), "one of the marker roles of the study file"),
    ],
)
def test_an_expectation_reads_as_a_clause(field, words):
    assert expectation(field) == words


def test_bounds_are_written_without_needless_digits():
    assert range_words(a_field(low=0.0, high=8000.0)) == "from 0 to 8000 s"
    assert range_words(a_field(low=0.1, high=1234567.0)) == "from 0.1 to 1234567 s"


def test_every_comment_is_made_of_sentences(subtests):
    for name in TABLES:
        with subtests.test(name=name):
            for field in TABLES[name].fields:
                assert column_comment(field).endswith(".")
                assert "  " not in column_comment(field)
