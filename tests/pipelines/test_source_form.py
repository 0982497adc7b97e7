"""Only what a source does makes another version: seen beside Python's own parser, on all sources there are."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from pipelines.source_form import plain_forms

REPO = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("package", ["schemas", "checks", "pipelines", "benchmarks"])
def test_the_form_with_docstrings_does_what_the_source_does(package: str) -> None:
    for path in sorted((REPO / package).rglob("*.py")):
        source = path.read_text(encoding="utf-8")
        plain, told = plain_forms(source)
        assert ast.dump(ast.parse(told)) == ast.dump(ast.parse(source)), path
        assert plain_forms(told) == (plain, told), path


BEFORE = '''
"""What it is."""
import numpy as np  # arrays


def f(a: int, b: str = "# no comment") -> tuple[int, ...]:
    """What it gives."""
    return (a, 1,)
'''


@pytest.mark.parametrize(
    "after",
    [
        BEFORE.replace("# arrays", "# arrays, by name"),
        BEFORE.replace('"""What it is."""', '"""Something else."""  # and more'),
        BEFORE.replace("(a: int, b", "(\n    a: int,  # the first\n    b").replace('comment") ->', 'comment",\n) ->'),
        BEFORE.replace("1,)", "1)"),
        BEFORE.replace("\n", "\r\n"),
        BEFORE.replace("    return", "\n    # why\n    return"),
    ],
    ids=["comment", "docstring", "lines", "comma", "line ends", "empty line"],
)
def test_comments_docstrings_and_layout_are_no_other_source(after: str) -> None:
    assert after != BEFORE
    assert plain_forms(after)[0] == plain_forms(BEFORE)[0]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"# no comment"', '"# another"'),
        ("(a, 1,)", "(a,)"),
        ("a, 1", "a, 2"),
        ("a: int", "an: int"),
        ("    return", "    if a:\n        a = 2\n    return"),
        ("\nimport numpy", '\nprint("""What it is.""")\nimport numpy'),
    ],
)
def test_whatever_it_does_otherwise_is(old: str, new: str) -> None:
    assert plain_forms(BEFORE.replace(old, new))[0] != plain_forms(BEFORE)[0]


def test_one_value_in_brackets_with_a_comma_is_not_the_same_as_without() -> None:
    assert plain_forms("x = (1,)")[0] != plain_forms("x = (1)")[0]
    assert plain_forms("if a:\n    b\n    c\n")[0] != plain_forms("if a:\n    b\nc\n")[0]


def test_another_docstring_is_told_where_it_is_shown() -> None:
    assert plain_forms(BEFORE)[1] != plain_forms(BEFORE.replace("gives", "takes"))[1]
