"""A data manager accepts a trial in spite of a check: it counts, it shows, it lasts, and some things cannot be accepted."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import duckdb
import pytest

from checks.findings import CheckRun, Finding, Report, Stamp
from checks.registry import catalogue
from pipelines.assets import deciding
from pipelines.assets.deciding import accept, withdraw
from pipelines.assets.run import run
from pipelines.deciding.accepting import Asked
from pipelines.depot.books.rows import Decision, Override
from pipelines.depot.ledger import whoami
from pipelines.depot.overrides import digest, why_not
from pipelines.depot.search_bytes import files_with
from pipelines.depot.storage import Depot
from pipelines.errors import Unusable
from pipelines.intake.tables import no_tables
from pipelines.judging.judge import Verdict
from pipelines.judging.standings import Judged, standing_of
from pipelines.taking_in import opening, publishing
from schemas.consent import Consent
from schemas.consent_history import History
from schemas.reading import Reading
from schemas.received import Received
from tests.command_line import command
from tests.delivery_builders import STUDY, a_delivery, leaving, trial_id
from tests.depot_books import decisions, faults_of_the_ledger, ledger_lines
from tests.finding_builders import a_check_run, a_finding

CHECK = "mean_vertical_force_is_body_weight"
TRIAL, STANDING = trial_id("1"), trial_id("standing")
WHY = "The plate was weighed in afterwards; the runner carried a belt with sensors."
ASKED = Asked(TRIAL, CHECK, WHY, "Ann Dale")


def ask(depot: Path, sql: str) -> list[tuple[Any, ...]]:
    with duckdb.connect(str(Depot(depot).warehouse), read_only=True) as connection:
        return connection.execute(sql).fetchall()


def ledger(depot: Path) -> list[dict[str, Any]]:
    return ledger_lines(depot)


def go(inbox: Path, depot: Path) -> str:
    return run(STUDY, inbox, depot, "tester", workers=1).text()


def marks(depot: Path) -> list[tuple[str, bool]]:
    """Standing and mark of every version of the trial, in order of delivery."""
    return ask(
        depot, f"SELECT standing, accepted_by_override FROM standings WHERE trial_id = '{TRIAL}' ORDER BY delivery_id"
    )


@pytest.fixture(scope="module")
def once_returned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A delivery whose running trial goes back for one check."""
    folder = tmp_path_factory.mktemp("accepting")
    a_delivery(folder / "inbox", faulty={"1": "heavy"})
    go(folder / "inbox", folder / "depot")
    assert ask(folder / "depot", "SELECT DISTINCT check_name FROM findings WHERE weight = 'returns'") == [(CHECK,)]
    return folder


@pytest.fixture(scope="module")
def once_accepted(once_returned: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same with the check set aside."""
    folder = tmp_path_factory.mktemp("accepted") / "copy"
    shutil.copytree(once_returned, folder)
    done = accept(STUDY, folder / "depot", ASKED)
    assert (done.standing, done.exit_code, done.judged) == ("accepted", 0, ("brack-001",))
    return folder


@pytest.fixture
def returned(once_returned: Path, tmp_path: Path) -> tuple[Path, Path]:
    shutil.copytree(once_returned, tmp_path / "copy")
    return tmp_path / "copy" / "inbox", tmp_path / "copy" / "depot"


@pytest.fixture
def accepted(once_accepted: Path, tmp_path: Path) -> tuple[Path, Path]:
    shutil.copytree(once_accepted, tmp_path / "copy")
    return tmp_path / "copy" / "inbox", tmp_path / "copy" / "depot"


def test_an_accepted_trial_has_outcomes_and_is_marked_everywhere(once_accepted: Path) -> None:
    depot = once_accepted / "depot"
    assert marks(depot) == [("accepted", True)]
    assert ask(depot, "SELECT trial_id, accepted_by_override FROM trials ORDER BY trial_id") == [
        (TRIAL, True),
        (STANDING, False),
    ]
    assert ask(depot, f"SELECT count(*) > 5 FROM footfalls WHERE trial_id = '{TRIAL}'") == [(True,)]
    rows = ask(depot, "SELECT delivery_id, trial_id, check_name, finding_count, reason, decided_by FROM overrides")
    assert rows == [("brack-001", TRIAL, CHECK, 1, WHY, "Ann Dale")]
    assert ask(depot, "SELECT DISTINCT accepted_by_override FROM trial_means") == [(True,)]
    assert ask(depot, "SELECT count(*) FROM findings_open") == [(0,)]
    assert ask(depot, f"SELECT count(*) FROM findings WHERE check_name = '{CHECK}'") == [(1,)], "it is still told"


def test_the_ledger_says_who_and_why_and_not_whose_trial(once_accepted: Path) -> None:
    depot = once_accepted / "depot"
    (line,) = [line for line in ledger(depot) if line["what"] == "override"]
    assert (line["why"], line["actor"]) == (WHY, "Ann Dale")
    assert line["details"] == {"account": whoami(), "by": "Ann Dale", "check": CHECK, "site": "brack"}
    assert "FS-01" not in json.dumps(ledger(depot))
    assert faults_of_the_ledger(depot) == []


def test_nothing_is_new_afterwards_and_asked_for_again_nothing_is_done(accepted: tuple[Path, Path]) -> None:
    inbox, depot = accepted
    assert "Nothing new" in go(inbox, depot)
    lines = len(ledger(depot))
    done = accept(STUDY, depot, ASKED)
    assert (done.standing, done.judged) == ("accepted", ())
    assert len(ledger(depot)) == lines


def test_it_lasts_when_other_code_judges_again(accepted: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    inbox, depot = accepted
    monkeypatch.setattr(opening, "code_version", lambda: "another")
    for module in (opening, publishing):
        monkeypatch.setattr(module, "judging_sources", lambda: {"science": {"a.py": "1"}, "checks": {"b.py": "1"}})
    assert "The science changed" in go(inbox, depot)
    assert marks(depot) == [("accepted", True)]
    assert ask(depot, "SELECT code_version FROM overrides") == [("another",)]


def test_a_trial_resent_with_other_bytes_is_judged_anew(accepted: tuple[Path, Path]) -> None:
    inbox, depot = accepted
    a_delivery(inbox, 2, faulty={"1": "heavier"}, reasons={"1": "exported again"})
    go(inbox, depot)
    assert marks(depot) == [("accepted", True), ("returned", False)]
    assert ask(depot, "SELECT delivery_id FROM trials WHERE accepted_by_override") == [("brack-001",)]


def test_taken_back_it_is_returned_again_and_gone_from_the_pool(accepted: tuple[Path, Path]) -> None:
    _, depot = accepted
    done = accept(STUDY, depot, replace(ASKED, why="A second look at the plate.", by="Ben Hill", take_back=True))
    assert (done.standing, done.still, done.exit_code) == ("returned", (CHECK,), 0)
    assert marks(depot) == [("returned", False)]
    assert ask(depot, "SELECT count(*) FROM overrides") == [(0,)]
    assert ask(depot, "SELECT count(*) FROM footfalls") == [(0,)]
    (line,) = [line for line in ledger(depot) if line["what"] == "override_taken_back"]
    assert (line["why"], line["actor"]) == ("A second look at the plate.", "Ben Hill")
    with pytest.raises(Unusable, match="never set aside"):
        accept(STUDY, depot, Asked(STANDING, CHECK, WHY, "Ann", take_back=True))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"why": "  "}, "There is no reason"),
        ({"why": " - "}, "There is no reason"),
        ({"by": ""}, "There is no name"),
        ({"why": "x " * 1500}, "2999 characters"),
        ({"why": f"{TRIAL} is fine"}, "names a runner"),
        ({"why": "FS-01 is light"}, "names a runner"),
        ({"why": "fs 01 is light"}, "names a runner"),
        ({"trial_id": "FS-99"}, "does not know trial FS-99"),
        ({"trial_id": STANDING}, "is accepted"),
        ({"check_name": CHECK + "s"}, f"perhaps {CHECK}"),
        ({"check_name": "sides_alternate"}, f"goes back for: {CHECK}"),
        ({"check_name": "consent_covers_the_trial"}, "consent or privacy forbids"),
        ({"check_name": "trial_files_identify_nobody"}, "consent or privacy forbids"),
        ({"check_name": "bag_is_complete_and_unchanged"}, "whole deliveries"),
        ({"check_name": "trial_file_can_be_read"}, "nothing can be computed"),
        ({"check_name": "keys_are_unique"}, "nothing can be computed"),
        ({"check_name": "force_was_not_filtered_before"}, "only notes"),
        ({"take_back": True}, "never set aside"),
    ],
)
def test_what_cannot_be_accepted_is_refused_in_plain_words(once_returned: Path, change: dict, words: str) -> None:
    depot = once_returned / "depot"
    lines = len(ledger(depot))
    with pytest.raises(Unusable) as refused:
        accept(STUDY, depot, replace(ASKED, **change))
    assert words in str(refused.value)
    assert "What to do:" in str(refused.value)
    assert len(ledger(depot)) == lines
    assert decisions(depot) == ()


def test_nothing_that_withholds_or_stops_can_ever_be_set_aside() -> None:
    open_to = {name for name, spec in catalogue().items() if why_not(spec) is None}
    assert {catalogue()[name].weight for name in open_to} == {"returns"}
    assert "changed_trials_say_why" in open_to
    assert not {"trial_file_can_be_read", "texts_identify_nobody", "rows_refer_to_rows_that_exist"} & open_to


def test_a_reason_may_tell_a_day(returned: tuple[Path, Path]) -> None:
    _, depot = returned
    done = accept(STUDY, depot, replace(ASKED, why="Plate calibrated on 14.03.2025 after all."))
    assert TRIAL in done.text()


def test_killed_before_it_is_judged_the_next_run_finishes(
    returned: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    class KilledError(BaseException):
        pass

    def die(*_: object) -> None:
        raise KilledError

    inbox, depot = returned
    with monkeypatch.context() as patch:
        patch.setattr(deciding, "carry_out", die)
        with pytest.raises(KilledError):
            accept(STUDY, depot, ASKED)
    assert "A data manager decided on a finding" in go(inbox, depot)
    assert marks(depot) == [("accepted", True)]
    (line,) = [line for line in ledger(depot) if line["what"] == "override"]
    assert (line["why"], line["details"]["by"]) == (WHY, "Ann Dale")


def test_a_runner_who_withdraws_takes_the_decision_along(accepted: tuple[Path, Path]) -> None:
    _, depot = accepted
    assert withdraw(STUDY, depot, leaving("FS-01")).found == ()
    assert decisions(depot) == ()
    assert files_with(Depot(depot), ["FS-01"])[1] == []


def a_judged(runs: list[CheckRun], check: str = "a_check") -> tuple[Judged, list[Finding]]:
    """Trial A with one finding of ``a_check``, and a decision on ``check``."""
    findings = [a_finding("returns", trial_id="A")]
    decision = Override("w", "mill", "A", ("0",), check, Decision("x", "y", "2026-03-02T00:00:00+00:00"))
    received = Received("d", "mill", "mill", 1, {}, (), no_tables())
    rows = {"A": dict.fromkeys(("participant_id", "session_id"))}
    consent = Consent(received, frozenset(), History(()), (), rows, {}, {}, frozenset())
    verdict = Verdict(Reading("A", "a.c3d"), findings, runs)
    judged = Judged("d", "mill", Stamp("1", "1"), consent, Report(), {"A": verdict}, {"A": "0"})
    return replace(judged, overrides=(decision,)), findings


@pytest.mark.parametrize(
    ("status", "check", "standing"),
    [("found", "a_check", "accepted"), ("crashed", "a_check", "returned"), ("found", "another", "returned")],
)
def test_only_what_the_check_saw_is_set_aside(status: str, check: str, standing: str) -> None:
    judged, findings = a_judged([a_check_run(status, subject="A")], check)
    assert standing_of("A", judged, findings) == standing
    withheld = replace(judged, consent=judged.consent.withholding({"A"}))
    assert standing_of("A", withheld, findings) == "withheld"


def test_a_digest_is_the_same_in_any_order_and_empty_without_decisions() -> None:
    one = a_judged([])[0].overrides[0]
    two = replace(one, word="v")
    assert digest([one, two]) == digest([two, one]) != digest([one])
    assert digest([]) == ""


def test_the_command_accepts_and_takes_back(returned: tuple[Path, Path]) -> None:
    _, depot = returned
    common = (TRIAL, "--check", CHECK, "--as", "Ann", "--depot", depot, "--study", STUDY)
    done = command("accept", *common, "--why", "Weighed again.")
    assert done.returncode == 0, done.stderr
    assert f"Trial {TRIAL} of brack-001 is accepted in spite of {CHECK}." in done.stdout
    back = command("accept", *common, "--why", "Not so.", "--take-back")
    assert back.returncode == 0, back.stderr
    assert "is returned now" in back.stdout


def test_the_command_needs_a_reason_and_a_name(once_returned: Path) -> None:
    common = (TRIAL, "--check", CHECK, "--depot", once_returned / "depot", "--study", STUDY)
    for words, told in (
        (("--as", "Ann"), "--why"),
        (("--why", "x"), "--as"),
        (("--as", "", "--why", "x"), "There is no name. Expected:"),
    ):
        done = command("accept", *common, *words)
        assert done.returncode == 2
        assert told in done.stderr
        assert "Traceback" not in done.stderr
