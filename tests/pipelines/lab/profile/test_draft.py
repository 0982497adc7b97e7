"""The drafted profile as text: what is sure is a value, what is not is a line for a person, and nothing is written over."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import numpy as np
import pytest

from pipelines.errors import Unusable
from pipelines.lab.profile.draft import OPEN, Draft, draft_profile, write_draft
from pipelines.study.file import load_profile
from tests.command_line import command
from tests.delivery_builders import STUDY
from tests.pipelines.intake.c3d_bytes import c3d_bytes
from tests.pipelines.lab.profile.labs import REAL, SITES, profile, unpack


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    return {site: unpack(site, tmp_path_factory.mktemp(site)) for site in SITES}


@pytest.fixture(scope="module")
def drafts(folders: dict[str, Path]) -> dict[str, Draft]:
    """Of every demo laboratory."""
    return {site: draft_profile(folders[site], STUDY, site) for site in SITES}


@pytest.mark.parametrize("site", SITES)
def test_the_draft_of_a_demo_laboratory_is_its_profile(site: str, drafts: dict[str, Draft], tmp_path: Path) -> None:
    draft = drafts[site]
    assert draft.open == ()
    write_draft(draft, tmp_path / "draft.yaml")
    found, known = load_profile(tmp_path / "draft.yaml"), profile(site)
    for name in (
        "site",
        "surface",
        "axes",
        "runs_both_ways",
        "marker_rate_hz",
        "force_rate_hz",
        "plate_types",
        "markers",
    ):
        assert getattr(found, name) == getattr(known, name), name


@pytest.mark.parametrize("site", SITES)
def test_every_value_says_how_sure_it_is_and_why(site: str, drafts: dict[str, Draft]) -> None:
    lines = drafts[site].text.splitlines()
    values = [i for i, line in enumerate(lines) if re.match(r"\s*[a-z_]+: \S", line)]
    assert len(values) > 15
    for i in values:
        above = next(line for line in reversed(lines[:i]) if not line.strip().startswith("#   "))
        assert re.match(r"\s*# (sure|likely): \w", above), lines[i]


def test_a_site_that_was_not_given_is_left_open_and_the_draft_cannot_be_used_yet(
    folders: dict[str, Path], tmp_path: Path
) -> None:
    draft = draft_profile(folders["tarn"], STUDY)
    assert draft.open == ("site",)
    assert any("stays empty in every trial: " in note and "needs force plates" in note for note in draft.notes)
    write_draft(draft, tmp_path / "draft.yaml")
    with pytest.raises(Unusable, match="site: This setting is missing"):
        load_profile(tmp_path / "draft.yaml")


@pytest.mark.skipif(not REAL.is_dir(), reason=f"{REAL} is not on this machine")
def test_once_a_person_has_filled_in_the_open_lines_the_draft_of_the_real_runner_can_be_used(tmp_path: Path) -> None:
    for name in ("run.c3d", "static.c3d"):
        shutil.copyfile(REAL / name, tmp_path / name)
    draft = draft_profile(tmp_path, STUDY, "teaching")
    assert "second_metatarsal_head_right" in draft.open
    assert "greater_trochanter_left" in draft.open
    confirmed = []
    for line in draft.text.splitlines():
        guess = re.match(rf"(\s*){re.escape(OPEN)} (\w+): (.*)", line)
        if guess is None:
            confirmed.append(line)
        elif guess[2] in ("second_metatarsal_head_right", "runs_both_ways"):
            confirmed.append(f"{guess[1]}{guess[2]}: {guess[3]}")
    (tmp_path / "confirmed.yaml").write_text("\n".join(confirmed))
    found = load_profile(tmp_path / "confirmed.yaml")
    assert found.markers["second_metatarsal_head_right"] == "RTOE"
    assert (found.axes.forward, found.axes.up, found.axes.right) == ("+x", "+y", "+z")
    assert (found.marker_rate_hz, found.force_rate_hz, found.plate_types) == (150, 300, (2, 2))


def test_a_draft_is_never_written_over_anything(folders: dict[str, Path], tmp_path: Path) -> None:
    mine = tmp_path / "brack.yaml"
    mine.write_text("dear")
    draft = draft_profile(next(folders["brack"].rglob("*cushioned-1.c3d")), STUDY, "brack")
    for place in (mine, tmp_path / "none" / "brack.yaml"):
        with pytest.raises(Unusable):
            write_draft(draft, place)
    assert mine.read_text() == "dear"


def test_files_that_cannot_be_read_are_counted_and_the_others_used(folders: dict[str, Path], tmp_path: Path) -> None:
    for path in sorted(folders["brack"].rglob("*.c3d"))[:2]:
        shutil.copyfile(path, tmp_path / path.name)
    (tmp_path / "broken.c3d").write_bytes(b"not a recording")
    draft = draft_profile(tmp_path, STUDY, "brack")
    assert (draft.files, draft.unread) == (2, 1)
    assert "1 C3D file could not be read" in draft.text


def test_a_label_with_a_persons_name_before_the_colon_or_in_it_does_not_travel(tmp_path: Path) -> None:
    labels = {"POINT": {"LABELS": ["Anneli Tormaenen:heel_L", "Ragnhild Ostervik heel R"]}}
    points = np.full((20, 2, 3), 40.0)
    (tmp_path / "a.c3d").write_bytes(c3d_bytes(points, np.zeros((40, 0)), extra=labels))
    text = draft_profile(tmp_path, STUDY, "brack").text
    assert "heel_L" in text
    assert "Tormaenen" not in text
    assert "Ostervik" not in text


@pytest.mark.parametrize("what", ["nothing", "only a broken file"])
def test_a_folder_without_a_readable_recording_is_refused_in_plain_words(tmp_path: Path, what: str) -> None:
    if what == "only a broken file":
        (tmp_path / "a.c3d").write_bytes(b"no recording")
    with pytest.raises(Unusable, match="C3D file"):
        draft_profile(tmp_path, STUDY, "brack")


def test_the_command_prints_the_draft_alone_or_writes_it(folders: dict[str, Path], tmp_path: Path) -> None:
    words = ["profile", folders["tarn"], "--site", "tarn", "--study", STUDY]
    printed = command(*words)
    assert printed.returncode == 0
    (tmp_path / "printed.yaml").write_text(printed.stdout)
    assert load_profile(tmp_path / "printed.yaml").site == "tarn"
    written = command(*words, "--to", tmp_path / "written.yaml")
    assert written.returncode == 0
    assert (tmp_path / "written.yaml").read_text() == printed.stdout
