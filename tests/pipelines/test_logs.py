"""The log in the depot: what is written, what is kept back, and that it stops nothing."""

from __future__ import annotations

import json
import logging
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines import logs
from pipelines.errors import Unusable
from tests.command_line import program

LOG = logging.getLogger("pipelines.judging.anything")


def lines(depot: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in (depot / logs.FOLDER / logs.NAME).read_text(encoding="utf-8").splitlines()]


def test_a_line_is_a_sentence_with_facts_and_says_where_and_when_it_was_written(tmp_path: Path) -> None:
    with logs.kept("run", tmp_path):
        LOG.info("A delivery was judged.", extra=logs.facts(delivery="brack-001", accepted=12, seconds=1.23456))
    began, judged, ended = lines(tmp_path)
    assert judged | {"utc": ""} == {
        "utc": "",
        "level": "INFO",
        "where": "pipelines.judging.anything",
        "what": "A delivery was judged.",
        "delivery": "brack-001",
        "accepted": 12,
        "seconds": 1.235,
    }
    assert judged["utc"].endswith("+00:00")
    assert (began["command"], ended["command"]) == ("run", "run")


@pytest.mark.parametrize(
    ("told", "written"),
    [
        ({"trial": "FS-07-w5-corrie-cushioned-1"}, logs.KEPT_BACK),
        ({"runner": "FS-07"}, logs.KEPT_BACK),
        ({"file": "trials/Nora_Fellsider.c3d"}, logs.KEPT_BACK),
        ({"site": "tarn"}, "tarn"),
        ({"site": "tarn\nNora"}, logs.KEPT_BACK),
        ({"delivery": "corrie-007.from-nora"}, "corrie-007"),
        ({"delivery": "nora_fellsider"}, "(without number)"),
        ({"crashed": 3}, 3),
    ],
)
def test_a_text_is_written_only_where_it_can_name_nobody(told: dict[str, Any], written: object) -> None:
    assert list(logs.facts(**told)["facts"].values()) == [written]


@given(st.text(min_size=4), st.sampled_from(["trial", "runner", "file", "why", "comment", "said"]))
def test_whatever_a_delivery_says_is_kept_back(text: str, name: str) -> None:
    assert logs.facts(**{name: text}) == {"facts": {name: logs.KEPT_BACK}}


def test_what_is_put_into_a_message_or_an_exception_is_not_written(tmp_path: Path) -> None:
    def work() -> None:
        with logs.kept("run", tmp_path):
            LOG.warning("Something about %s.", "FS-07")
            raise ValueError("the session of FS-07")

    with pytest.raises(ValueError, match="FS-07"):
        work()
    text = (tmp_path / logs.FOLDER / logs.NAME).read_text(encoding="utf-8")
    assert "FS-07" not in text
    last = lines(tmp_path)[-1]
    assert (last["error"], last["level"]) == ("ValueError", "ERROR")
    assert "test_logs.py:" in last["raised"][-1]


def test_verbose_shows_the_same_on_standard_error_and_a_laboratory_keeps_no_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with logs.kept("check", None, verbose=True):
        LOG.debug("A file was opened.", extra=logs.facts(site="tarn", file="trials/T1.c3d"))
    said = capsys.readouterr().err
    assert f"pipelines.judging.anything: A file was opened. (site tarn, file {logs.KEPT_BACK})" in said
    assert list(tmp_path.iterdir()) == []
    LOG.warning("Nobody listens any more.")
    assert "Nobody listens" not in capsys.readouterr().err


def test_a_command_without_a_log_shows_what_cannot_be_used_in_one_sentence_and_no_traceback(tmp_path: Path) -> None:
    asked = program("check", tmp_path, "--site", "brack", "--study", tmp_path / "none.yaml")
    assert asked.returncode == 2
    assert asked.stderr.startswith(f"{tmp_path / 'none.yaml'}: There is no such file.")
    assert len(asked.stderr.splitlines()) == 1


def test_a_mistaken_path_makes_no_folder_and_what_came_before_a_new_depot_is_not_lost(tmp_path: Path) -> None:
    depot = tmp_path / "depot"
    with pytest.raises(Unusable), logs.kept("withdraw", depot):
        raise Unusable("There is no depot.", "a depot.", "Name it.")
    assert not depot.exists()
    with logs.kept("run", depot):
        depot.mkdir()
        LOG.info("A delivery was judged.")
    assert [line["what"] for line in lines(depot)] == [
        "A command began.",
        "A delivery was judged.",
        "The command came to its end.",
    ]


def test_a_log_that_cannot_be_written_is_told_once_and_stops_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / logs.FOLDER).write_text("a file where the folder should be")
    with logs.kept("run", tmp_path):
        LOG.info("A delivery was judged.")
    assert capsys.readouterr().err.count("cannot be written") == 1


def test_old_lines_go_when_the_file_is_full(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(logs, "_MOST_BYTES", 500)
    with logs.kept("run", tmp_path):
        for number in range(100):
            LOG.info("A delivery was judged.", extra=logs.facts(number=number))
    files = sorted(p.name for p in (tmp_path / logs.FOLDER).iterdir())
    assert len(files) == 1 + logs._KEPT_FILES
    assert max(p.stat().st_size for p in (tmp_path / logs.FOLDER).iterdir()) <= 500
