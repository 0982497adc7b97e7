"""Judging again: only what a change touches, for the reason that is true, told beforehand, and not without a yes."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import yaml

from pipelines.assets.deciding import take_back, withdraw
from pipelines.assets.repairing import repair
from pipelines.assets.run import at_work, plan, run
from pipelines.deciding.accepting import Asked, decide
from pipelines.deciding.preview import preview
from pipelines.depot.storage import Depot
from pipelines.errors import Unusable
from pipelines.progress import Progress
from pipelines.taking_in.due import CONSENTS_CHANGED
from pipelines.taking_in.plan import NOTHING_DUE
from pipelines.taking_in.repairing import Sources
from pipelines.taking_in.summary import Summary
from tests.delivery_builders import REPO, a_delivery, leaving, tables, take_in_only, trial_id
from tests.depot_books import ledger_lines
from tests.pipelines.taking_in.a_place import edit, exchange_labels, go, planned, with_study

RUNNERS = ("FS-01", "FS-02", "FS-03")


@pytest.fixture(scope="module")
def taken_in(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with inbox, depot and study: two deliveries of brack with eight accepted trials."""
    place = with_study(tmp_path_factory.mktemp("again"))
    a_delivery(place / "inbox", 1, runners=RUNNERS, names=("standing", "1"))
    a_delivery(place / "inbox", 2, runners=("FS-04",), names=("standing", "1"))
    assert go(place).exit_code == 0
    return place


@pytest.fixture
def place(taken_in: Path, tmp_path: Path) -> Path:
    return shutil.copytree(taken_in, tmp_path / "place")


def judged(place: Path, *, yes: bool = False) -> Summary:
    """What a run does with deliveries alone."""
    return take_in_only(place / "inbox", place / "depot", place / "study.yaml", yes=yes)


class Judged(Progress):
    """Notes which deliveries are worked on."""

    def __init__(self) -> None:
        super().__init__()
        self.names: list[str] = []

    @contextmanager
    def delivery(self, name: str) -> Iterator[Callable[[int, int], None]]:
        self.names.append(name)
        with super().delivery(name) as tell:
            yield tell


def results(place: Path) -> dict[str, str]:
    with Depot(place / "depot").opened() as books:
        return books.deliveries.results()


def test_what_is_new_is_planned_although_nothing_is_judged_again(place: Path) -> None:
    a_delivery(place / "inbox", 3, runners=("FS-05",), names=("standing",))
    assert "brack-003" in planned(place)


def test_a_comment_a_title_and_a_fourth_laboratory_judge_nothing_and_the_pages_show_the_title(place: Path) -> None:
    before = results(place)
    edit(place, "title: The Fellside footwear study\n", "title: Renamed  # why\n")
    edit(place, "sites:\n", "sites:\n  dale: {description: A fourth., profile: sites/dale.yaml}\n")
    profile = yaml.safe_load((place / "sites" / "corrie.yaml").read_text(encoding="utf-8"))
    (place / "sites" / "dale.yaml").write_text(yaml.safe_dump(profile | {"site": "dale"}), encoding="utf-8")
    assert "judge nothing again. Warehouse, analyses and pages would be made again" in planned(place)
    summary = go(place)
    assert (summary.exit_code, summary.done, summary.built) == (0, [], True)
    assert results(place) == before
    assert "Renamed" in (place / "depot" / "pages" / "index.html").read_text(encoding="utf-8")
    assert planned(place) == NOTHING_DUE
    edit(place, "force_rate_hz: 1000", "force_rate_hz: 1000  # still", "sites/brack.yaml")
    assert not go(place).done
    edit(place, "contact_threshold_n: 20 ", "contact_threshold_n: 22 ")
    renamed = go(place)
    assert {done.record.status for done in renamed.done} == {"taken_in"}, "a new title stops none that is held"


def test_the_file_of_another_study_is_refused_and_a_changed_copy_is_not(place: Path, tmp_path: Path) -> None:
    shutil.copytree(place / "sites", tmp_path / "sites")
    shutil.copyfile(place / "study.yaml", tmp_path / "study.yaml")
    edit(tmp_path, "title: The Fellside footwear study\n", "title: Renamed\n")
    assert "Nothing new" in run(tmp_path / "study.yaml", place / "inbox", place / "depot", "tester", workers=1).text()
    before = ledger_lines(place / "depot")
    for other in ("id: moorland\n", ""):
        edit(tmp_path, "id: fellside\n" if other else "id: moorland\n", other)
        for asked in (run, plan):
            with pytest.raises(Unusable, match=r"The depot is that of the study 'fellside'.*`id: fellside`"):
                asked(tmp_path / "study.yaml", place / "inbox", place / "depot", "tester", workers=1)
    assert ledger_lines(place / "depot") == before


def test_the_reason_told_names_the_setting_and_only_its_laboratory_is_judged(place: Path) -> None:
    before = results(place)
    edit(place, "marker_rate_hz: 200", "marker_rate_hz: 201", "sites/tarn.yaml")
    assert "and judge nothing again" in planned(place)
    assert not judged(place).done
    edit(place, "contact_threshold_n: 20 ", "contact_threshold_n: 21 ")
    told = planned(place)
    assert "brack-001: Settings changed: processing.contact_threshold_n." in told
    assert "no trial would stand otherwise" in told
    assert results(place) == before, "a plan publishes nothing"
    summary = judged(place)
    assert {done.why for done in summary.done} == {"Settings changed: processing.contact_threshold_n."}
    assert results(place).keys() == before.keys()
    assert not set(results(place).values()) & set(before.values())
    reasons = {line["why"] for line in ledger_lines(place / "depot")}
    assert "Settings changed: processing.contact_threshold_n." in reasons


def test_two_labels_exchanged_in_a_profile_are_not_published_without_a_yes(place: Path) -> None:
    before, rows = results(place), tables(place / "depot")
    exchange_labels(place)
    told = planned(place)
    assert "brack-002: The profile of brack changed: markers.calcaneus_left" in told
    assert f"{trial_id('1')} of brack-001: accepted -> returned" in told
    assert "only with --yes" in told
    a_delivery(place / "inbox", 3, runners=("FS-05",), names=("standing",))
    refused = go(place)
    assert refused.exit_code == 1
    assert "NOT PUBLISHED" in refused.text()
    assert f"{trial_id('1')} of brack-001: accepted -> returned" in refused.text()
    assert (results(place), tables(place / "depot")) == (before, rows), "nor is what has come taken in"
    assert not list((place / "depot" / "work").iterdir())
    assert go(place, yes=True).exit_code == 0
    after = {row["trial_id"]: row["standing"] for row in tables(place / "depot")["brack-001"]["standings"]}
    assert after[trial_id("1")] == "returned"
    assert "brack-003" in results(place)
    assert not go(place).done


def test_a_withdrawal_while_a_profile_waits_is_no_yes_to_the_profile_and_tells_what_else_it_would_do(
    place: Path,
) -> None:
    exchange_labels(place)
    reason = "The profile of brack changed: markers.calcaneus_left"
    asked = place / "study.yaml", place / "depot"
    assert reason in preview(*asked, "FS-04", "muscle").text()
    before = ledger_lines(place / "depot")
    with pytest.raises(Unusable, match=r"changed: markers.calcaneus_left(?s:.*)--with-changes"):
        withdraw(*asked, leaving("FS-04", "muscle"))
    assert ledger_lines(place / "depot") == before, "nobody withdrew, and no trial stands otherwise"
    withdraw(*asked, replace(leaving("FS-04", "muscle"), with_changes=True))
    (line,) = [one for one in ledger_lines(place / "depot") if one["about"] == "brack-002" and "profile" in one["why"]]
    assert line["why"].startswith(CONSENTS_CHANGED)
    assert reason in line["why"]


def test_a_withdrawal_while_a_change_waits_that_moves_nothing_is_carried_out(place: Path) -> None:
    edit(place, "contact_threshold_n: 20 ", "contact_threshold_n: 21 ")
    assert withdraw(place / "study.yaml", place / "depot", leaving("FS-04", "muscle")).exit_code == 0


def test_a_time_of_grace_that_ends_while_a_profile_waits_is_no_yes_to_it_for_any_command(place: Path) -> None:
    asked = place / "study.yaml", place / "depot"
    withdraw(*asked, leaving("FS-04", "muscle", grace_days=7))
    exchange_labels(place)
    with pytest.raises(Unusable, match=r"changed: markers.calcaneus_left"):
        take_back(*asked, leaving("FS-04", "muscle", why="A mistake."))
    over = (datetime.now(UTC) - timedelta(days=1)).isoformat(timespec="seconds")
    depot = Depot(place / "depot")
    with depot.writing("tester"), depot.books.transaction():
        depot.books.jobs.put(replace(depot.books.jobs.open()[0], due_utc=over))
    before = results(place)
    other = withdraw(*asked, leaving("FS-09", not_yet_delivered=True))
    assert "NOT FINISHED still" in other.text()
    assert "waits for a yes" in other.text()
    judged_by_run = Judged()
    refused = run(*asked[:1], place / "inbox", asked[1], "tester", judged_by_run, workers=1)
    assert (refused.exit_code, results(place)) == (1, before)
    assert judged_by_run.names.count("brack-002") == 2, "once for the withdrawal, and with all that the profile moves"
    assert "NOT FINISHED still" in refused.text()
    for moved in (f"{trial_id('1')} of brack-001", "of brack-002"):
        assert moved in refused.text(), "all that the profile moves is told, not of this runner's deliveries alone"
    done = go(place, yes=True)
    assert done.exit_code == 0
    assert "is carried out now" in done.text()
    assert not set(results(place).values()) & set(before.values())


def test_a_repair_while_a_profile_waits_judges_nothing_with_it_and_says_why(place: Path) -> None:
    depot = Depot(place / "depot")
    before = results(place)
    exchange_labels(place)
    lost = depot.result("brack-001").local("standings.parquet")
    lost.unlink()
    left = repair(place / "study.yaml", depot, "tester", Sources()).left
    assert [fault.file for fault in left if fault.kind == "result"] == [lost]
    assert all("The profile of brack changed" in fault.remedy for fault in left)
    assert results(place) == before
    assert judged(place, yes=True).exit_code == 0
    assert lost.exists()


def test_what_a_data_manager_decided_is_no_part_of_what_a_waiting_change_moves(place: Path) -> None:
    a_delivery(place / "inbox", 3, runners=("FS-05",), faulty={"1": "heavy"})
    judged(place)
    trial, check = trial_id("1", "FS-05"), "mean_vertical_force_is_body_weight"
    with at_work(place / "study.yaml", place / "depot", "ann") as bench:  # killed before anything follows from it
        decide(bench.desk, Asked(trial, check, "The runner wore a vest of weights.", "ann"))
    edit(place, "contact_threshold_n: 20 ", "contact_threshold_n: 21 ")
    before = results(place)
    done = withdraw(place / "study.yaml", place / "depot", leaving("FS-09", not_yet_delivered=True))
    assert "waits for a yes" not in done.text()
    assert {name for name, word in results(place).items() if before[name] != word} == {"brack-003"}
    standings = {row["trial_id"]: row["standing"] for row in tables(place / "depot")["brack-003"]["standings"]}
    assert standings[trial] == "accepted"


def test_a_few_trials_are_published_without_asking(place: Path) -> None:
    exchange_labels(place)
    with (place / "study.yaml").open("a", encoding="utf-8") as stream:
        stream.write("judging_again: {most_trials: 8}\n")
    assert judged(place).exit_code == 0


def test_what_judging_again_brings_is_the_same_as_taking_in_anew(place: Path) -> None:
    """One delivery's result counts for the next while nothing is published: standing trials of another delivery."""
    inbox, depot, study = (place / name for name in ("inbox", "depot", "study.yaml"))
    a_delivery(inbox, 3, runners=("FS-01",), names=("3",))
    take_in_only(inbox, depot, study)
    edit(place, "contact_threshold_n: 20 ", "contact_threshold_n: 45 ")
    take_in_only(inbox, depot, study, yes=True)
    take_in_only(inbox, place / "anew", study)
    assert tables(depot) == tables(place / "anew")


def test_nothing_new_does_not_start_dagster(place: Path) -> None:
    paths = tuple(str(place / name) for name in ("study.yaml", "inbox", "depot"))
    code = (
        "import sys; from pathlib import Path; from pipelines.assets.run import run;"
        f"s = run(Path({paths[0]!r}), Path({paths[1]!r}), {paths[2]!r}, 'tester');"
        "print(s.done, 'dagster' in sys.modules, 'pandas' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=REPO, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[] False False"
