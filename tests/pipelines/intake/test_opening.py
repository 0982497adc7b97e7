"""What becomes of a delivery that opens too slowly, takes too much memory, or meets a fault that is not its own."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipelines.intake.opening import open_delivery
from pipelines.workers.isolation import Isolated
from schemas.quota import Quota
from tests.builders import a_study
from tests.pipelines.intake.bags import a_bag


@pytest.fixture(scope="module")
def isolated():
    with Isolated(1, time_limit_s=60, memory_limit_mb=1024) as pool:
        yield pool


def with_quota(**quota: float):
    return a_study().model_copy(update={"delivery": Quota(**quota)})


def the_problem(opened) -> str:
    received, payload = opened
    (problem,) = received.problems
    assert payload is None
    assert problem.kind == "archive"
    assert received.files == ()
    return f"{problem.seen} {problem.expected}"


def test_a_delivery_within_the_limits_is_as_if_it_were_opened_here(isolated, tmp_path):
    received, payload = open_delivery(isolated, a_bag(tmp_path), "mill", tmp_path / "work", a_study())
    assert received.problems == ()
    assert payload == tmp_path / "mill-001" / "data"
    assert received.tables["sent_trials"]["trial_id"].tolist() == ["T1"]


def test_a_delivery_that_takes_too_long_to_open_is_refused_and_the_limit_told(isolated, tmp_path):
    study, bag = with_quota(opening_time_limit_s=0.02), a_bag(tmp_path)
    (bag / "data" / "weeks.csv").write_bytes(b"participant_id,week\n" + b"P1,1\n" * 2_000_000)  # tenths of a second
    told = the_problem(open_delivery(isolated, bag, "mill", tmp_path / "work", study))
    assert "it took longer than 0.02 s" in told
    assert "the study asks for" in told
    assert not (tmp_path / "work" / "unpacked").exists()


def test_a_delivery_that_takes_too_much_memory_is_refused(tmp_path):
    with Isolated(1, time_limit_s=60, memory_limit_mb=2) as small:
        bag = a_bag(tmp_path)
        (bag / "data" / "weeks.csv").write_bytes(b"participant_id,week\n" + b"P1,1\n" * 2_000_000)
        assert "memory" in the_problem(open_delivery(small, bag, "mill", tmp_path / "work", a_study()))


def test_a_folder_with_more_than_the_study_takes_is_not_read(isolated, tmp_path):
    bag = a_bag(tmp_path)
    with (bag / "data" / "sparse.c3d").open("wb") as stream:
        stream.truncate(5 << 30)
    received, payload = open_delivery(isolated, bag, "mill", tmp_path / "work", a_study())
    (problem,) = received.problems
    assert (problem.kind, problem.seen) == ("bag", "its files are larger than 4096 MiB together")
    assert payload is None
    other, _ = open_delivery(isolated, a_bag(tmp_path / "b"), "mill", tmp_path / "work", with_quota(most_mib=0.0001))
    assert other.fingerprint != received.fingerprint


def test_a_fault_of_this_machines_disk_is_not_laid_at_the_senders_door(isolated, tmp_path):
    """The work folder cannot be made, since a file is there."""
    import shutil

    archive = Path(shutil.make_archive(str(tmp_path / "sent"), "zip", tmp_path, a_bag(tmp_path).name))
    (tmp_path / "work").write_text("a file")
    with pytest.raises(OSError, match="directory"):
        open_delivery(isolated, archive, "mill", tmp_path / "work", a_study())
