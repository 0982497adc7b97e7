from pathlib import Path

import pytest

from pipelines.beginning.make import begin
from pipelines.beginning.wanted import Given, completed
from pipelines.errors import Unusable
from pipelines.lab.profile.draft import Draft, write_draft
from pipelines.lab.profile.roles import Guesses
from pipelines.study.file import load_study
from tests.command_line import command
from tests.pipelines.study.test_study_file import write

ALL_OPEN = "site: mill\n#? surface: treadmill\n"


@pytest.fixture
def begun(tmp_path: Path) -> Path:
    given = Given("Our study", ["cushioned"], ["w0=0"], ["brack"], "OS")
    return begin(tmp_path / "new", completed(given, None)).folder


def test_a_site_with_a_draft_waits_and_the_others_go_on(tmp_path: Path) -> None:
    path = write(tmp_path)
    others = set(load_study(path).study.sites) - {"mill"}
    (tmp_path / "sites" / "mill.yaml").write_text(ALL_OPEN)
    loaded = load_study(path)
    assert set(loaded.study.sites) == others
    (draft,) = loaded.drafts
    assert draft.site == "mill"
    assert "surface" in draft.lacks
    assert str(tmp_path / "sites" / "mill.yaml") in draft.told()


def test_open_lines_of_what_is_not_required_keep_nothing_back(tmp_path: Path) -> None:
    path = write(tmp_path)
    profile = tmp_path / "sites" / "mill.yaml"
    profile.write_text(profile.read_text() + '#? description: "to be said"\n')
    loaded = load_study(path)
    assert "mill" in loaded.study.sites
    assert not loaded.drafts


def test_a_draft_that_is_filled_in_wrongly_says_what_is_wrong(tmp_path: Path) -> None:
    path = write(tmp_path)
    (tmp_path / "sites" / "mill.yaml").write_text(ALL_OPEN + "marker_rate_hz: fast\n")
    (draft,) = load_study(path).drafts
    assert "marker_rate_hz is 'fast', expected a number" in draft.told()


def test_without_open_lines_an_incomplete_profile_still_stops_everything(tmp_path: Path) -> None:
    path = write(tmp_path)
    (tmp_path / "sites" / "mill.yaml").write_text("site: mill\n")
    with pytest.raises(Unusable, match="surface is missing"):
        load_study(path)


def drafted(text: str) -> Draft:
    return Draft(text, files=1, unread=0, open=(), notes=(), seen={}, guesses=Guesses((), ()))


def test_a_draft_made_from_recordings_takes_the_place_of_an_empty_profile_only(begun: Path) -> None:
    place = begun / "sites" / "brack.yaml"
    write_draft(drafted("surface: treadmill\n#? site: ?\n"), place)
    assert place.read_text() == "surface: treadmill\n#? site: ?\n"
    with pytest.raises(Unusable, match="nothing is written over"):
        write_draft(drafted("surface: runway\n"), place)
    assert "treadmill" in place.read_text()


def test_a_delivery_of_a_site_with_a_draft_is_refused_by_name(begun: Path, tmp_path: Path) -> None:
    (tmp_path / "working").mkdir()
    words = ["--study", begun / "study.yaml", "--site", "brack"]
    for done in (
        command("check", tmp_path / "working", *words),
        command("pack", tmp_path / "working", "--to", tmp_path / "b.zip", *words, "--number", "1"),
    ):
        assert done.returncode == 2
        assert "The profile of site brack is a draft: it lacks surface" in done.stderr
    assert not (tmp_path / "b.zip").exists()


def test_every_run_says_which_site_waits_and_for_what(begun: Path) -> None:
    done = command(
        "run", "--study", begun / "study.yaml", "--inbox", begun / "inbox", "--depot", begun / "depot", "--plan"
    )
    assert done.returncode == 0, done.stderr
    assert "The profile of site brack is a draft: it lacks surface" in done.stdout
