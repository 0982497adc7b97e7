"""The command: quick to answer, plain in its messages, honest in its exit codes."""

from __future__ import annotations

import json
import os
import re
import resource
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
import typer.main

from pipelines import cli
from pipelines.command.exit_codes import INTERRUPTED_TOLD
from pipelines.command.main import app
from tests.command_line import PROGRAM, command, program
from tests.delivery_builders import REPO, STUDY, a_delivery, planned


def commands() -> dict[str, object]:
    group = typer.main.get_command(app)
    found: dict[str, object] = {}
    for name, entry in group.commands.items():  # type: ignore[attr-defined]
        inner = getattr(entry, "commands", None)
        found |= {f"{name} {sub}": c for sub, c in inner.items()} if inner else {name: entry}
    return found


@pytest.fixture(scope="module")
def depot(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("cli")
    a_delivery(folder / "inbox")
    done = command("run", "--study", STUDY, "--inbox", folder / "inbox", "--depot", folder / "depot", "--as", "ann")
    assert done.returncode == 0, done.stderr
    assert "brack-001: 2 accepted, 0 returned, 0 withheld" in done.stdout
    assert done.stderr.count("2 of 2 trials judged") == 1
    return folder / "depot"


def test_there_are_exactly_these_commands() -> None:
    assert set(commands()) == {
        "followed-up",
        "init",
        "run",
        "check",
        "pack",
        "profile",
        "look",
        "send",
        "kit",
        "sql",
        "dev",
        "withdraw",
        "renew",
        "withheld",
        "verify",
        "backup",
        "restore",
        "ledger show",
        "ledger verify",
        "ledger head",
        "accept",
        "release",
        "power",
        "report",
        "plan show",
        "plan freeze",
        "texts list",
        "texts allow",
        "texts refuse",
        "upgrade",
    }


@pytest.mark.parametrize("name", commands())
def test_every_help_says_what_it_is_for_and_gives_an_example(name: str) -> None:
    text = command(*name.split(), "--help").stdout
    assert re.search(rf"Example: manystrides {name}\b", " ".join(text.split()))
    for parameter in commands()[name].params:  # type: ignore[attr-defined]
        assert getattr(parameter, "help", None), f"{name}: {parameter.name} is not explained"


def test_help_answers_in_less_than_a_second_of_processor_time() -> None:
    def used() -> float:
        own = resource.getrusage(resource.RUSAGE_CHILDREN)
        return own.ru_utime + own.ru_stime

    tried = []
    for _ in range(2):
        before = used()
        assert program("--help").returncode == 0
        tried.append(used() - before)
    assert 0 < min(tried) < 1.0


def test_no_heavy_library_is_loaded_for_the_help() -> None:
    heavy = ["pandas", "numpy", "duckdb", "dagster", "pydantic", "pyarrow", "scipy", "ezc3d", "pandera"]
    code = f"import sys, pipelines.command.main; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], cwd=REPO, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_module_is_the_command() -> None:
    asked = [sys.executable, "-m", "pipelines.cli"]
    said = subprocess.run([*asked, "--version"], capture_output=True, text=True, check=True, cwd=REPO)
    assert said.stdout == command("--version").stdout
    refused = subprocess.run(
        [*asked, "sql", "SELECT 1", "--depot", "nowhere"], capture_output=True, check=False, cwd=REPO
    )
    assert refused.returncode == 2


def test_the_version_names_package_and_sources() -> None:
    assert re.fullmatch(r"manystrides \d+\.\d+\.\d+\+[0-9a-f]{8}\n", command("--version").stdout)


def test_nothing_new_ends_with_success(depot: Path) -> None:
    done = command("run", "--study", STUDY, "--inbox", depot.parent / "inbox", "--depot", depot)
    assert done.returncode == 0
    assert done.stdout.startswith("Nothing new")


def test_a_run_of_which_something_goes_back_says_so_by_its_code_and_to_scripts(tmp_path: Path) -> None:
    bag = a_delivery(tmp_path / "inbox", 7, names=("standing",))
    (bag / "data" / "sessions.csv").write_text("changed after it was packed", encoding="utf-8")
    asked = ("--study", STUDY, "--inbox", tmp_path / "inbox", "--depot", tmp_path / "depot", "--json")
    first = command("run", *asked)
    told = json.loads(first.stdout)
    assert (first.returncode, told["exit_code"]) == (4, 4)
    (came,) = told["deliveries"]
    assert (came["delivery"], came["status"], came["accepted"]) == ("brack-007", "stopped", 0)
    again = command("run", *asked)
    assert (again.returncode, json.loads(again.stdout)["deliveries"]) == (0, [])


def test_a_script_that_asks_for_json_gets_the_error_as_json_too(tmp_path: Path) -> None:
    done = command("run", "--study", tmp_path / "none.yaml", "--json")
    told = json.loads(done.stdout)
    assert (done.returncode, told["exit_code"]) == (2, 2)
    assert (told["error"]["file"], told["error"]["seen"]) == (str(tmp_path / "none.yaml"), "There is no such file.")
    assert told["error"]["text"] == done.stderr.strip()
    assert command("run", "--study", tmp_path / "none.yaml").stdout == ""


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["run", "--study", "none.yaml"], "none.yaml"),
        (["run", "--inbox", "none"], "There is no such folder"),
        (["run", "--depot", "s3://bucket"], "not a folder on this machine"),
        (["run", "--depot", str(STUDY)], "It is a file. Expected: the folder of a depot"),
        (["--books", "sqlite:///other.sqlite", "run"], "Leave --books and MANYSTRIDES_BOOKS out"),
        (["--books", "mysql://u@h/b", "run"], "a URL such as postgresql://"),
        (["sql", "SELECT 1", "--depot", "none"], "There is no warehouse here"),
        (["ledger", "verify", "--depot", "none"], "There is no ledger here"),
        (["sql"], "Missing argument"),
        (["run", "--speed"], "No such option"),
    ],
)
def test_what_cannot_be_used_ends_with_two_and_plain_words(words: list[str], told: str, tmp_path: Path) -> None:
    if "run" in words:
        for option, value in (("--study", STUDY), ("--inbox", tmp_path), ("--depot", tmp_path / "depot")):
            words = words if option in words else [*words, option, str(value)]
    done = command(*words, cwd=tmp_path)
    assert done.returncode == 2
    assert told in done.stderr
    assert "Traceback" not in done.stderr
    assert list(tmp_path.iterdir()) == [], "nothing is left of a depot that could not be begun"


def test_a_reader_that_stops_listening_ends_no_work_and_changes_no_exit_code(tmp_path: Path) -> None:
    a_delivery(tmp_path / "inbox", names=("standing",))
    asked = f"{PROGRAM} run --study {STUDY} --inbox {tmp_path / 'inbox'} --depot {tmp_path / 'depot'} 2>&1"
    done = subprocess.run(
        ["bash", "-c", f"{asked} | true; echo ${{PIPESTATUS[0]}}"], capture_output=True, text=True, check=True
    )
    assert (done.stdout, done.stderr) == ("0\n", "")
    again = subprocess.run(
        ["bash", "-c", f"{asked} | head -1; echo ${{PIPESTATUS[0]}}"], capture_output=True, text=True, check=True
    )
    assert again.stdout.splitlines()[-1] == "0"
    assert again.stdout.startswith("Nothing new")
    refused = subprocess.run(
        ["bash", "-c", f"{PROGRAM} run --study none.yaml 2>&1 | true; echo ${{PIPESTATUS[0]}}"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert (refused.stdout, refused.stderr) == ("2\n", "")


def test_bad_sql_shows_where_and_what_to_do(depot: Path) -> None:
    done = command("sql", "SELECT speed FROM footfals", "--depot", depot)
    assert done.returncode == 2
    assert "footfals" in done.stderr
    assert 'Did you mean "footfalls' in done.stderr
    assert "What to do:" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_query_prints_a_table_and_says_how_many_rows_are_left_out(depot: Path) -> None:
    done = command("sql", "SELECT side, contact_time_s FROM footfalls ORDER BY ALL", "--depot", depot, "--rows", "2")
    assert done.returncode == 0
    assert "contact_time_s" in done.stdout
    assert re.search(r"2 of \d+ rows shown", done.stdout)


@pytest.mark.parametrize("name", ["answer.csv", "answer.parquet"])
def test_a_query_writes_the_whole_answer_to_a_file(depot: Path, tmp_path: Path, name: str) -> None:
    done = command("sql", "SELECT * FROM footfalls", "--depot", depot, "--to", tmp_path / name)
    assert done.returncode == 0, done.stderr
    read = pd.read_csv if name.endswith("csv") else pd.read_parquet
    assert f"{len(read(tmp_path / name))} rows written" in done.stdout


@pytest.mark.parametrize(
    ("name", "told"), [("answer.xlsx", ".csv or .parquet"), ("none/answer.csv", "existing folder")]
)
def test_an_answer_that_cannot_be_written_says_so(depot: Path, tmp_path: Path, name: str, told: str) -> None:
    done = command("sql", "SELECT 1", "--depot", depot, "--to", tmp_path / name)
    assert done.returncode == 2
    assert told in done.stderr


def test_an_answer_is_not_written_into_the_depot_and_is_not_for_everybody(depot: Path, tmp_path: Path) -> None:
    inside = depot / "raw" / "answer.csv"
    done = command("sql", "SELECT 1", "--depot", depot, "--to", inside)
    assert done.returncode == 2
    assert "inside the depot" in done.stderr
    assert not inside.exists()
    assert command("sql", "SELECT 1", "--depot", depot, "--to", tmp_path / "answer.csv").returncode == 0
    assert (tmp_path / "answer.csv").stat().st_mode & 0o007 == 0


def test_a_run_that_a_service_manager_ends_is_interrupted_and_leaves_no_process_to_complain(tmp_path: Path) -> None:
    a_delivery(tmp_path / "inbox")
    words = [PROGRAM, "run", "--study", STUDY, "--inbox", tmp_path / "inbox", "--depot", tmp_path / "depot", "--json"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        assert any("brack" in line for line in process.stderr), "it works on the delivery"
        process.terminate()
        told, answer = process.stderr.read(), json.loads(process.stdout.read())
    assert process.returncode == answer["exit_code"] == 130
    assert told.splitlines()[-1] == answer["error"]["text"] == INTERRUPTED_TOLD
    assert "leaked" not in told
    assert "Traceback" not in told


def test_an_interruption_while_the_command_is_being_loaded_ends_it_with_one_sentence(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    class Interrupts:
        def find_spec(self, name: str, path: object = None, target: object = None) -> None:
            if name == "pipelines.command.main":
                raise KeyboardInterrupt

    monkeypatch.delitem(sys.modules, "pipelines.command.main", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Interrupts(), *sys.meta_path])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    assert ended.value.code == 130
    assert capsys.readouterr().err == f"{INTERRUPTED_TOLD}\n"


def test_the_ledger_is_whole_until_someone_changes_it(depot: Path, tmp_path: Path) -> None:
    assert command("ledger", "verify", "--depot", depot).returncode == 0
    copy = tmp_path / "depot"
    copy.mkdir()
    for name in ("books.sqlite", "books.id"):
        shutil.copy(depot / name, copy)
    with (
        sqlite3.connect(copy / "books.sqlite") as connection,
        pytest.raises(sqlite3.IntegrityError, match="append-only"),
    ):
        connection.execute("UPDATE ledger SET actor = 'ben' WHERE sequence = 1")
    with sqlite3.connect(copy / "books.sqlite") as connection:
        for name in ("ledger_no_change", "ledger_no_removal"):
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute("UPDATE ledger SET actor = 'ben' WHERE sequence = 1")
        connection.execute("DELETE FROM ledger WHERE sequence = (SELECT max(sequence) FROM ledger)")
    connection.close()
    done = command("ledger", "verify", "--depot", copy)
    assert done.returncode == 1
    assert "line 1: the line was changed" in done.stderr
    assert "once reached entry" in done.stderr
    assert "no longer refuses" in done.stderr
    for broken in ("not json", "[1]", "null"):
        with sqlite3.connect(copy / "books.sqlite") as connection:
            connection.execute("UPDATE ledger SET details = ? WHERE sequence = 1", (broken,))
        connection.close()
        shown = command("ledger", "show", "--depot", copy)
        assert shown.returncode == 0, shown.stderr
        assert "DAMAGED: what else the line told cannot be read" in shown.stdout


def test_the_ledger_is_shown_by_delivery_person_and_time(depot: Path) -> None:
    shown = command("ledger", "show", "--depot", depot, "--delivery", "brack-001", "--json")
    (line,) = [json.loads(text) for text in shown.stdout.splitlines()]
    assert (line["about"], line["what"], line["actor"]) == ("brack-001", "taken_in", "ann")
    assert "brack-001" in command("ledger", "show", "--depot", depot, "--by", "ann").stdout
    for words in (("--by", "nobody"), ("--until", "2020-01-01")):
        assert (
            command("ledger", "show", "--depot", depot, *words).stdout == "The ledger has no line that is asked for.\n"
        )
    assert command("ledger", "show", "--depot", depot, "--by", "nobody", "--json").stdout == ""
    done = command("ledger", "show", "--depot", depot, "--since", "yesterday")
    assert (done.returncode, "--since says 'yesterday'" in done.stderr) == (2, True)


@pytest.mark.parametrize("console", [{"PYTHONIOENCODING": "ascii"}, {"LANG": "C", "LC_ALL": "C", "PYTHONUTF8": "0"}])
def test_look_answers_on_a_console_that_knows_fewer_letters(console: dict[str, str], tmp_path: Path) -> None:
    path = tmp_path / "gr\u00fcn.c3d"
    path.write_bytes(planned("FS-01", "standing")[1])
    for more in ([], ["--json"]):
        done = program("look", path, *more, env={**os.environ, **console})
        assert done.returncode == 0, done.stderr
        assert "heel" in done.stdout or "labels" in done.stdout
        assert "Traceback" not in done.stderr


def test_look_tells_what_is_in_a_file_and_fails_on_what_is_none(tmp_path: Path) -> None:
    good, bad = tmp_path / "good.c3d", tmp_path / "bad.c3d"
    good.write_bytes(planned("FS-01", "1")[1])
    bad.write_bytes(b"not a recording")
    done = command(
        "look", good, "--json", "--outcomes", "--profile", STUDY.parent / "sites" / "brack.yaml", "--mass", "58"
    )
    assert done.returncode == 0, done.stderr
    seen = json.loads(done.stdout)
    assert seen["readable"] is True
    assert len(seen["footfalls"]) > 4
    assert command("look", good).stdout.strip()
    done = command("look", bad, "--json")
    assert done.returncode == 1
    assert json.loads(done.stdout)["readable"] is False


def test_the_list_of_commands_is_never_cut() -> None:
    for group in ("", "ledger", "texts", "plan"):
        listed = command(*group.split(), "--help").stdout.partition("Commands:")[2]
        assert listed
        assert "..." not in listed
