"""A reason that tells of somebody is refused before anything is done; one that does not is taken."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from pipelines.command.main import app
from pipelines.errors import Unusable
from pipelines.identity.identifiers import NOBODY
from pipelines.identity.names import KnownNames
from pipelines.identity.reasons import refuse_who
from tests.delivery_builders import STUDY

RUNNERS = ("FS-02", "fs-11 ", "FS-03-w5-unshod-1")


@pytest.mark.parametrize(
    "why",
    [
        *("FS-02 asked", "letter of fs-02", "(FS-11)", "letter of FS\u201102", "FS 02 wrote", "FS-O2", "of fs02/fs11"),
        *("FS-02_run 1 is light", "FS-02-w5 again", "trial fs-03 w5 unshod 1", "fs-03-w5-unshod-1 fine"),
        *("Mrs Ostervik wrote", "call 0141 496 0773"),
    ],
)
def test_reasons_that_name_a_runner_or_surely_a_person_are_refused(why: str) -> None:
    with pytest.raises(Unusable, match="ledger can never forget"):
        refuse_who(why, RUNNERS, NOBODY)


def test_reasons_with_a_name_on_the_list_are_refused() -> None:
    with pytest.raises(Unusable, match="name of a person"):
        refuse_who("quellmar wrote", RUNNERS, KnownNames.of(["Zoe Quellmar"]))


@pytest.mark.parametrize(
    "why", ["Letter of 3 May", "First pooled analysis", "For everybody", "FS-021 is another", "by letter"]
)
def test_reasons_that_name_nobody_are_taken(why: str) -> None:
    refuse_who(why, RUNNERS, NOBODY)


@pytest.mark.parametrize(
    ("by", "why", "runner"),
    [(" ", "by letter", "FS-01"), ("Ann", " ", "FS-01"), ("Ann", "of FS-01", "fs-01"), ("Ann", "by letter", " ")],
)
def test_a_withdrawal_that_cannot_be_noted_is_refused_before_anything_is_shown(
    tmp_path: Path, by: str, why: str, runner: str
) -> None:
    told = ["withdraw", runner, "--scope", "all", "--why", why, "--as", by, "--yes", "--depot", str(tmp_path / "depot")]
    ended = CliRunner().invoke(app, [*told, "--study", str(STUDY)])
    assert isinstance(ended.exception, Unusable)
    assert ended.stdout == ""
    assert list(tmp_path.iterdir()) == []
