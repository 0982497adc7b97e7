"""Checks of the delivery as a whole: planted faults and clean deliveries."""

from __future__ import annotations

from dataclasses import replace

import pytest

from checks.registry import Weight
from schemas.study import Study
from tests.builders import a_study
from tests.checks.received_builders import a_delivery, a_row, files, with_problem
from tests.checks.running_checks import Case, of_delivery, run, status


def clean():
    return of_delivery(a_delivery())


def an_unreadable_archive():
    return replace(with_problem("archive", file="mill_001.zip"), files=(), tables={}, bag_info={})


PLANTED = {
    "archive_unpacks_safely": Case(lambda: of_delivery(an_unreadable_archive())),
    "bag_is_complete_and_unchanged": Case(
        lambda: of_delivery(with_problem("bag", file="trials/T1.c3d", place="manifest-sha256.txt")),
        "manifest-sha256.txt",
    ),
    "bag_info_names_site_and_number": Case(lambda: of_delivery(a_delivery(number=None))),
    "trial_files_are_in_the_bag": Case(
        lambda: of_delivery(replace(a_delivery(), files=files("trials/T0.c3d"))), "trial_id T1, column file"
    ),
    "every_file_is_named_in_a_table": Case(
        lambda: of_delivery(replace(a_delivery(), files=(*a_delivery().files, *files("notes.docx"))))
    ),
}
CLEAN = dict.fromkeys(PLANTED, clean)


@pytest.mark.parametrize(
    ("changes", "study"),
    [
        pytest.param({"site": None}, a_study(), id="no site"),
        pytest.param({"site": "elsewhere"}, a_study(), id="unknown site"),
        pytest.param({"inbox_site": "way"}, a_study(), id="another lab's inbox"),
        pytest.param({"number": 0}, a_study(), id="number 0"),
    ],
)
def test_a_bag_info_that_misnames_site_or_number_stops_the_delivery(changes: dict, study: Study) -> None:
    (finding,) = run("bag_info_names_site_and_number", of_delivery(a_delivery(**changes), study)).findings
    assert finding.weight == Weight.STOPS
    assert finding.file == "bag-info.txt"


def test_what_intake_said_about_the_bag_info_is_not_said_twice() -> None:
    received = replace(with_problem("bag_info", file="bag-info.txt"), site=None, number=None)
    assert len(run("bag_info_names_site_and_number", of_delivery(received)).findings) == 1


@pytest.mark.parametrize(
    "name", ["bag_is_complete_and_unchanged", "bag_info_names_site_and_number", "every_file_is_named_in_a_table"]
)
def test_a_delivery_that_could_not_be_opened_is_not_called_clean(name: str) -> None:
    assert status(name, of_delivery(an_unreadable_archive())) == "skipped"


def test_a_folder_has_no_archive_to_unpack() -> None:
    assert status("archive_unpacks_safely", of_delivery(a_delivery(arrived_as="mill_001"))) == "skipped"


def test_a_missing_sidecar_is_found_and_its_trial_named() -> None:
    received = a_delivery(sent_trials=[a_row("T1", sidecar="trials/T1.edf")])
    received = replace(received, files=files("trials/T1.c3d"))
    (finding,) = run("trial_files_are_in_the_bag", of_delivery(received)).findings
    assert (finding.trial_id, finding.place) == ("T1", "trial_id T1, column sidecar")


def test_a_file_that_differs_only_in_capitals_is_hinted_at() -> None:
    received = replace(a_delivery(sent_trials=[a_row("T1")]), files=files("Trials/t1.C3D"))
    (finding,) = run("trial_files_are_in_the_bag", of_delivery(received)).findings
    assert "Trials/t1.C3D" in finding.seen


def test_a_trial_without_an_id_does_not_break_the_check() -> None:
    received = replace(a_delivery(sent_trials=[{**a_row("T1"), "trial_id": None}]), files=files())
    assert status("trial_files_are_in_the_bag", of_delivery(received)) == "found"


def test_trial_files_and_sidecars_named_in_the_table_are_not_stray() -> None:
    received = a_delivery(sent_trials=[a_row("T1", sidecar="trials/T1.edf")])
    assert status("every_file_is_named_in_a_table", of_delivery(received)) == "pass"
