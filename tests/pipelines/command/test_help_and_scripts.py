"""Examples of the helps run as they stand, and answers for scripts say what those for people say."""

from __future__ import annotations

import json
import re
import shlex
import shutil
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from tests.command_line import REPO, command
from tests.delivery_builders import STUDY, a_delivery

#: Those that change nothing but files of their own, and the exit codes that their examples may end with.
EXAMPLES = {
    "check": {0, 1},
    "init": {0},
    "kit": {0},
    "ledger head": {0},
    "ledger show": {0},
    "ledger verify": {0},
    "look": {0},
    "pack": {0},
    "plan show": {1},  # the plan of the demonstration was not frozen
    "power": {0},
    "profile": {0},
    "report": {0},
    "run": {0},  # what goes back went back when the depot was made
    "send": {0},
    "sql": {0},
    "texts list": {0},
    "withheld": {0},
}


def example_of(name: str) -> list[str]:
    """The words of its example, behind the program's name."""
    text = " ".join(command(*name.split(), "--help").stdout.split())
    found = re.search(r"Example: manystrides (.*?)(?= Arguments:| Options:)", text)
    assert found, text
    return shlex.split(found[1])


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory, demo_depot: Path) -> Path:
    """A folder with everything that examples name: the demonstration, its depot, a delivery, recordings."""
    folder = tmp_path_factory.mktemp("desk")
    (folder / "demo_site_uploads").symlink_to(REPO / "demo_site_uploads", target_is_directory=True)
    shutil.copytree(demo_depot, folder / "depot", symlinks=True)
    register = demo_depot.with_name(f"{demo_depot.name}.register")
    if register.exists():
        shutil.copy(register, folder / register.name)
    (folder / "study.yaml").write_bytes((REPO / "demo_site_uploads" / "study.yaml").read_bytes())
    for beside in ("sites", "plan.yaml"):
        (folder / beside).symlink_to(REPO / "demo_site_uploads" / beside)
    data = a_delivery(folder / "made") / "data"
    for name in ("my_delivery", "my_folder"):
        shutil.copytree(data, folder / name)
    recordings = sorted(data.rglob("*.c3d"))
    (folder / "my_recordings").mkdir()
    for recording in recordings:
        shutil.copy(recording, folder / "my_recordings" / recording.name)
    shutil.copy(next(path for path in recordings if "standing" not in path.name), folder / "trial.c3d")
    (folder / "heads").mkdir()
    return folder


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_example_of_a_help_runs(name: str, desk: Path) -> None:
    done = command(*example_of(name), cwd=desk)
    assert done.returncode in EXAMPLES[name], done.stdout + done.stderr


def both(*words: str | Path) -> tuple[CompletedProcess[str], dict | list]:
    """What is said to people, and to scripts; with the same exit code, and one line each."""
    people, scripts = command(*words), command(*words, "--json")
    assert people.returncode == scripts.returncode
    assert scripts.stdout.count("\n") == 1
    return people, json.loads(scripts.stdout)


def test_a_question_is_answered_with_every_row(demo_depot: Path) -> None:
    rows = json.loads(
        command("sql", "SELECT range AS n, 0/0 AS nothing FROM range(60)", "--depot", demo_depot, "--json").stdout
    )
    assert rows == [{"n": n, "nothing": None} for n in range(60)]


def test_the_head_of_the_ledger_is_the_same_for_scripts(demo_depot: Path) -> None:
    people, scripts = both("ledger", "head", "--depot", demo_depot)
    assert f"Depot: {scripts['depot']}\n" in people.stdout
    assert str(scripts["sequence"]) in people.stdout
    people, scripts = both("ledger", "verify", "--depot", demo_depot)
    assert scripts["problems"] == []
    assert f"{scripts['sequence']} lines" in people.stdout


def test_faults_of_a_depot_are_told_to_scripts_one_by_one(desk: Path, tmp_path: Path) -> None:
    hurt = tmp_path / "depot"
    shutil.copytree(desk / "depot", hurt)
    shutil.copy(desk / "depot.register", tmp_path)
    raw = min(path for path in (hurt / "raw").rglob("*") if path.is_file())
    raw.chmod(0o600)
    raw.write_bytes(b"other")
    people, scripts = both("verify", "--depot", hurt)
    assert people.returncode == 1
    assert [fault["file"] for fault in scripts["faults"]] == [str(raw)]
    assert scripts["faults"][0]["expected"] in people.stderr


def test_a_plan_and_held_texts_are_told_to_scripts(demo_depot: Path) -> None:
    people, scripts = both("plan", "show", "--study", STUDY, "--depot", demo_depot)
    assert scripts["plan"]["sha256"] in people.stdout
    assert scripts["exit_code"] == people.returncode == 1
    people, scripts = both("texts", "list", "--depot", demo_depot)
    assert scripts
    assert all(one["word"][:8] in people.stdout for one in scripts)


def test_what_the_next_study_needs_is_told_to_scripts(demo_depot: Path) -> None:
    words = [*example_of("power")[1:], "--depot", demo_depot]
    people, scripts = both("power", *words)
    for one in scripts["needed"]:
        runners = one["runners_at_each"]
        assert f"{one['sites']:>6}{'more than' if runners is None else runners:>18}"[:6] in people.stdout
        assert f"{one['power']:.2f}" in people.stdout
    assert scripts["effect"] == 0.005


def test_what_is_wrong_with_a_delivery_is_told_to_scripts_finding_by_finding(desk: Path, tmp_path: Path) -> None:
    faulty = tmp_path / "faulty"
    shutil.copytree(desk / "my_delivery", faulty)
    trials = next(faulty.rglob("trials.csv"))
    text = trials.read_text(encoding="utf-8")
    assert "cushioned" in text
    trials.write_text(text.replace("cushioned", "slippers"), encoding="utf-8")
    people, scripts = both("check", faulty, "--study", STUDY, "--site", "brack")
    assert people.returncode == scripts["exit_code"] == 1
    own = [f for f in scripts["findings"] if f["weight"] == "returns" and f["consequence_of"] is None]
    assert own
    assert all(f["seen"] in people.stdout and f["remedy"] in people.stdout for f in own)
    assert any("slippers" in f["seen"] or "condition" in f["seen"] for f in own)
