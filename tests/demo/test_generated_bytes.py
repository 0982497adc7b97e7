"""The committed deliveries are what the generator makes, small, dated nowhere, and marked as invented."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path

import bagit
import edfio
import ezc3d
import pytest

from demo_site_uploads.simulator.c3d_writer import NOTE
from demo_site_uploads.simulator.faults import name_in_the_note
from demo_site_uploads.simulator.generate import generate
from demo_site_uploads.simulator.plan import deliveries

DEMO = Path(__file__).resolve().parents[2] / "demo_site_uploads"
INBOX = DEMO / "inbox"
SPOILED_ON_PURPOSE = {"brack-003"}


def _members(path: Path) -> dict[str, bytes]:
    """Files of a delivery by path in the bag's folder; for a ZIP file its members without the folder's name."""
    if path.is_dir():
        return {p.relative_to(path).as_posix(): p.read_bytes() for p in path.rglob("*") if p.is_file()}
    with zipfile.ZipFile(path) as archive:
        return {name.partition("/")[2]: archive.read(name) for name in archive.namelist()}


def _arrivals(inbox: Path) -> dict[str, Path]:
    return {p.relative_to(inbox).as_posix(): p for site in sorted(inbox.iterdir()) for p in sorted(site.iterdir())}


def _hashes(inbox: Path) -> dict[str, str]:
    """Every file, those in ZIP files one by one: how well a ZIP file is packed depends on the zlib at hand."""
    return {
        f"{arrival}/{member}": hashlib.sha256(content).hexdigest()
        for arrival, path in _arrivals(inbox).items()
        for member, content in _members(path).items()
    }


ARRIVALS = _arrivals(INBOX)
UNREADABLE = {"trials/FS-04-w5-corrie-cushioned-7.c3d"}


def _recordings(ending: str) -> Iterator[tuple[str, bytes]]:
    """Name and bytes of every file of a kind in the committed deliveries, but for one that is planted unreadable."""
    for arrival, path in ARRIVALS.items():
        for member, content in _members(path).items():
            if member.endswith(ending) and member.removeprefix("data/") not in UNREADABLE:
                yield f"{arrival}:{member.removeprefix('data/trials/')}", content


def test_the_generator_makes_the_committed_deliveries_again_and_replaces_an_older_inbox_whole(tmp_path: Path) -> None:
    stale = tmp_path / "inbox" / "brack" / "stale"
    stale.mkdir(parents=True)
    fresh = _hashes(generate(tmp_path))
    committed = _hashes(INBOX)
    assert sorted(fresh) == sorted(committed)
    assert [name for name in fresh if fresh[name] != committed[name]] == []
    assert not stale.exists()
    assert [p.name for p in tmp_path.iterdir()] == ["inbox"]


def test_a_delivery_packed_twice_is_the_same_to_the_last_byte(tmp_path: Path) -> None:
    small = next(d for d in deliveries() if d.arrives_as == "without-number.zip")
    first, second = (small.pack(tmp_path / name, tmp_path / f"{name}-work") for name in ("one", "two"))
    assert first.read_bytes() == second.read_bytes()


def test_the_inbox_is_small_enough_to_commit() -> None:
    assert sum(p.stat().st_size for p in INBOX.rglob("*") if p.is_file()) < 8 * 2**20


def test_every_bag_says_that_it_is_invented_and_carries_no_date(subtests: pytest.Subtests) -> None:
    for arrival in ARRIVALS:
        with subtests.test(arrival=arrival):
            members = _members(ARRIVALS[arrival])
            info = members["bag-info.txt"].decode()
            assert "Invented: yes" in info
            assert "invented" in json.loads(members["data/datapackage.json"])["description"].lower()
            plain = [c.decode() for m, c in members.items() if m.endswith((".txt", ".csv", ".json"))]
            dates = re.compile(r"\b(19|20)\d\d-\d\d-\d\d\b")
            assert [text for text in plain if dates.search(text)] == []


@pytest.mark.parametrize("arrival", [a for a in ARRIVALS if ARRIVALS[a].name not in SPOILED_ON_PURPOSE])
def test_every_bag_is_valid_to_the_bagit_library(arrival: str, tmp_path: Path) -> None:
    if ARRIVALS[arrival].is_dir():
        folder = ARRIVALS[arrival]
    else:
        folder = tmp_path / "bag"
        for member, content in _members(ARRIVALS[arrival]).items():
            if ".." not in member:
                (folder / member).parent.mkdir(parents=True, exist_ok=True)
                (folder / member).write_bytes(content)
    bagit.Bag(str(folder)).validate()


def test_the_bag_that_was_changed_on_the_way_is_not_valid() -> None:
    with pytest.raises(bagit.BagValidationError, match=r"sessions\.csv"):
        bagit.Bag(str(INBOX / "brack" / "brack-003")).validate()


def test_ezc3d_reads_every_whole_file_and_finds_the_note(tmp_path: Path, subtests: pytest.Subtests) -> None:
    for name, content in _recordings(".c3d"):
        with subtests.test(name=name):
            path = tmp_path / "trial.c3d"
            path.write_bytes(content)
            file = ezc3d.c3d(str(path))
            points, analogs = file["data"]["points"], file["data"]["analogs"]
            assert points.shape[1] in (13, 14, 15)  # 14: where a label was made to stand twice, ezc3d keeps one
            assert analogs.shape[2] % points.shape[2] == 0
            notes = [
                NOTE,
                name_in_the_note(NOTE.encode()).decode(),
            ]  # one file is planted with an invented name in its note
            assert file["parameters"]["STUDY"]["NOTE"]["value"][0] in notes
            assert file["parameters"]["EZC3D"]["CONTACT"]["value"] == [""]  # invented data names nobody


def test_every_second_file_names_nobody_and_no_day(subtests: pytest.Subtests) -> None:
    for name, content in _recordings(".edf"):
        with subtests.test(name=name):
            file = edfio.read_edf(io.BytesIO(content))
            assert file.local_patient_identification == "X X X X"
            assert file.local_recording_identification == "Startdate X X X X Invented"
            assert file.reserved == "EDF+C"
            assert content[168:184] == b"01.01.8500.00.00"
            assert [note.text for note in file.annotations] == ["Invented data of a simulated runner"]
            assert sum(signal.physical_dimension == "uV" for signal in file.signals) == 6


def test_twelve_runners_three_visits_three_conditions_six_travellers_and_one_in_every_laboratory() -> None:
    planned = [t for d in deliveries() if d.number for t in d.trials if t.asked.kind == "running"]
    conditions: dict[str, set[str]] = {}
    for trial in planned:
        if trial.fault is None and trial.sidecar_of is None and trial.channels_fault is None:
            conditions.setdefault(trial.session.participant_id, set()).add(trial.condition)
    assert sum(len(found) == 3 for found in conditions.values()) >= 12
    assert {t.session.visit for t in planned} == {"week_0", "week_5", "week_10"}
    assert {t.condition for t in planned} == {"cushioned", "thin_soled", "unshod"}
    sites: dict[str, set[str]] = {}
    for trial in planned:
        if trial.session.visit == "week_0" and trial.fault is None:
            sites.setdefault(trial.session.participant_id, set()).add(trial.session.site)
    assert [runner for runner, found in sites.items() if len(found) == 3] == ["FS-03"]
    assert sum(len(found) > 1 for found in sites.values()) >= 6


def test_the_file_whose_copy_was_interrupted_is_shorter_than_it_says(tmp_path: Path) -> None:
    content = _members(INBOX / "corrie" / "corrie-002.zip")["data/trials/FS-04-w5-corrie-cushioned-7.c3d"]
    whole = _members(INBOX / "corrie" / "corrie-002.zip")["data/trials/FS-04-w5-corrie-cushioned-6.c3d"]
    assert len(content) == len(whole) * 6 // 10


def test_every_expected_finding_names_a_delivery_and_a_trial_that_exist() -> None:
    expected = list(csv.DictReader(io.StringIO((DEMO / "expected_findings.csv").read_text(encoding="utf-8"))))
    known = {}
    for path in ARRIVALS.values():
        members = _members(path)
        found = re.search(r"Site: (\w+)", members["bag-info.txt"].decode())
        number = re.search(r"Delivery-Number: (\d+)", members["bag-info.txt"].decode())
        rows = csv.DictReader(io.StringIO(members["data/trials.csv"].decode()))
        if found and number:
            known[f"{found[1]}-{int(number[1]):03d}"] = {row["trial_id"] for row in rows}
    numbered = [row for row in expected if not {"unnumbered", "misplaced"} & set(row["delivery"].split("-"))]
    assert numbered
    assert [r for r in numbered if r["delivery"] not in known] == []
    withheld = [r for r in numbered if r["weight"] == "withholds"]  # these go by names of their own
    for delivery in {r["delivery"] for r in withheld}:
        own = {r["trial_id"] for r in withheld if r["delivery"] == delivery}
        assert own == {f"{delivery}.withheld-{n + 1}" for n in range(len(own))}
    open_ones = [r for r in numbered if r["trial_id"] and r not in withheld]
    assert [r for r in open_ones if r["trial_id"] not in known[r["delivery"]]] == []
    assert all(row["planted"].endswith(".") for row in expected)
