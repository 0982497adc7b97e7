"""A multiplied study is one that a run takes for its own, and the questions have the same answer both ways."""

from __future__ import annotations

from pathlib import Path

import duckdb

from benchmarks.studies.multiply import multiply
from benchmarks.studies.questions import QUESTIONS, compare
from pipelines.assets.run import run
from tests.delivery_builders import STUDY, a_delivery

COPIES, REPETITIONS = 3, 4


def test_a_multiplied_study_is_whole_and_nothing_of_it_is_new(tmp_path: Path) -> None:
    base, study = tmp_path / "base", tmp_path / "study"
    a_delivery(base / "inbox")
    assert run(STUDY, base / "inbox", base / "depot", "tester", workers=1).exit_code == 0
    multiply(base, study, COPIES, REPETITIONS)
    summary = run(STUDY, study / "inbox", study / "depot", "tester", workers=1)
    assert (summary.exit_code, summary.done) == (0, []), "not one of its deliveries is judged"
    counted = (
        "SELECT (SELECT count(DISTINCT trial_id) FROM trials), (SELECT count(*) FROM runners), count(*) FROM footfalls"
    )
    found = []
    for depot in (base / "depot", study / "depot"):
        with duckdb.connect(str(depot / "warehouse.duckdb"), read_only=True) as connection:
            found += connection.execute(counted).fetchall()
    (trials, runners, footfalls), multiplied = found
    assert multiplied == (COPIES * trials, COPIES * runners, COPIES * REPETITIONS * footfalls)
    took = list(compare(study / "depot" / "warehouse.duckdb", tmp_path / "csv", rounds=1))
    assert [one.what for one in took] == [question.what for question in QUESTIONS]
