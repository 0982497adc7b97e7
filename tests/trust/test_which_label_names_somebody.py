"""A laboratory whose recording names somebody learns at which label of which group, from its own check and from a depot."""

from __future__ import annotations

import json
import re
import zipfile
from pathlib import Path

import ezc3d
import pytest

from pipelines.assets.run import run
from tests.command_line import command
from tests.delivery_builders import STUDY, a_delivery, planned, tables
from tests.pipelines.identity.leaks import where_it_shows

PERSON, OTHER, DAY, LABEL, OWN = "Emma Smith", "Anna Brown", "14.09.2023", "ankle_out_L", "Quibb"


@pytest.fixture(scope="module")
def bag(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A delivery with a trial in which a label is a day, another a name, and descriptions of two labels name somebody."""
    folder = tmp_path_factory.mktemp("labels")
    trial, content = planned("FS-01", "1")
    (folder / "as_it_was.c3d").write_bytes(content)
    file = ezc3d.c3d(str(folder / "as_it_was.c3d"))
    point = file["parameters"]["POINT"]
    labels = [
        {"outer_ball_L": DAY, "ball_L": OWN, "heel_R": OTHER}.get(label, label) for label in point["LABELS"]["value"]
    ]
    point["LABELS"]["value"] = labels
    file.add_parameter("POINT", "DESCRIPTIONS", [PERSON if n in (LABEL, OWN) else "marker" for n in labels])
    file.add_parameter(OWN, "NOTE", [f"by {PERSON}"])
    file.write(str(folder / "named.c3d"))
    return a_delivery(folder / "inbox", replace_files={trial.file: (folder / "named.c3d").read_bytes()})


def test_the_check_at_the_laboratory_says_which_label_of_which_group(bag: Path) -> None:
    told = command("check", bag, "--study", STUDY)
    assert told.returncode == 1
    assert f"POINT:LABELS, row 5 (the label '{DAY}')" in told.stdout
    assert f"POINT:DESCRIPTIONS, row 7 (beside the label '{LABEL}')" in told.stdout
    assert f"POINT:DESCRIPTIONS, row 3 (beside the label '{OWN}')" in told.stdout
    assert f"{OWN.upper()}:NOTE" in told.stdout
    assert f"{OTHER}   (trials/FS-01-w0-brack-cushioned-1.c3d, POINT:LABELS, row 2" in told.stdout


def test_a_depot_says_which_label_of_which_group_and_repeats_none_that_may_be_a_name(bag: Path, tmp_path: Path) -> None:
    told = run(STUDY, bag.parents[1], tmp_path / "depot").text()
    assert "1 withheld" in told
    found = [f for f in tables(tmp_path / "depot")["brack-001"]["findings"] if f["weight"] == "withholds"]
    assert {f["trial_id"] for f in found} == {"brack-001.withheld-1"}
    places = {
        "POINT:LABELS, row 5 (a label of 10 characters)",
        f"POINT:DESCRIPTIONS, row 7 (beside the label '{LABEL}')",
        "POINT:DESCRIPTIONS, row 3 (beside a label of 5 characters)",
        "(a name of 5 characters):NOTE",
    }
    assert {f["place"] for f in found} == places
    page = re.sub(r"\s+", " ", (tmp_path / "depot" / "pages" / "sites" / "brack.html").read_text())
    assert [p for p in places if p.replace("'", "&#39;") not in page] == []
    owner = command("withheld", "--depot", tmp_path / "depot")
    assert owner.stdout.startswith("brack-001.withheld-1  FS-01-w0-brack-cushioned-1\n    ")
    (told_json,) = json.loads(command("withheld", "--json", "--depot", tmp_path / "depot").stdout)
    assert (told_json["name"], told_json["trial_id"]) == ("brack-001.withheld-1", "FS-01-w0-brack-cushioned-1")
    sent = command("send", "brack", "--to", tmp_path / "brack.zip", "--study", STUDY, "--depot", tmp_path / "depot")
    assert sent.returncode == 0, sent.stderr
    with zipfile.ZipFile(tmp_path / "brack.zip") as parcel:
        letter = " ".join(parcel.read(next(n for n in parcel.namelist() if n.endswith("letter.txt"))).decode().split())
    assert [p for p in places if p not in letter or p not in owner.stdout] == []
    shown = where_it_shows(tmp_path / "depot", [PERSON, "Smith", OTHER, DAY, OWN])
    assert [s for s in shown if "held_texts.json" not in s and "books" not in s] == []
