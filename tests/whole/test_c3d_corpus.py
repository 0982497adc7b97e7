"""Public C3D files of many systems (../shared/c3d_corpus/dev) against the facts of their manifest."""

import csv
import json
from pathlib import Path

import ezc3d
import numpy as np
import pytest

from pipelines.intake.c3d.compare import compare_readers
from pipelines.intake.c3d.problem import C3dProblem
from pipelines.intake.c3d.reading import read_c3d
from pipelines.intake.plates import force_and_moment_in_lab, vertical_axis
from pipelines.intake.units import metres_per_unit
from pipelines.lab.look import look, render_look
from pipelines.workers.isolation import Isolated

CORPUS = Path(__file__).parents[2].parent / "shared" / "c3d_corpus"
DEV = CORPUS / "dev"
pytestmark = pytest.mark.skipif(not DEV.is_dir(), reason=f"{DEV} is not on this machine")


def table(path):
    return list(csv.DictReader(path.read_text("utf-8").splitlines())) if path.is_file() else []


MANIFEST = table(DEV / "manifest.csv")
NUMBERED = [pytest.param(row, id=f"{i:02d}_{row['processor']}_{row['storage']}") for i, row in enumerate(MANIFEST)]


def encodings_of_one_trial():
    """Pairs of files that hold one trial; the first of each group is what the others are compared with."""
    groups = {}
    for row in table(CORPUS / "equivalences.csv"):
        if "encodings" in row["relation"]:
            groups.setdefault(row["group"], {})[row["kept_in"]] = row
    for name, rows in groups.items():
        first, *others = rows.values()
        for i, other in enumerate(others):
            yield pytest.param(other, first, id=f"{name}_{i}_{other['processor']}_{other['storage']}")


EQUAL = list(encodings_of_one_trial())


def number(text):
    return float(text) if text else 0.0


@pytest.mark.parametrize("row", NUMBERED)
def test_a_file_reads_with_the_facts_of_its_manifest(row):
    recording = read_c3d(DEV / row["path"])
    facts, layout = recording.facts, recording.layout
    assert (facts.processor, facts.storage) == (row["processor"], row["storage"])
    assert facts.point_count == int(row["points"])
    assert facts.frame_count == int(row["frames"])
    assert facts.point_rate_hz == pytest.approx(float(row["point_rate_hz"]), rel=1e-6)
    assert facts.point_unit == row["point_units"]
    assert facts.analog_count == int(row["analog_channels"])
    assert recording.analog.shape[0] == int(row["analog_samples"])
    assert (facts.analog_rate_hz or 0) == pytest.approx(number(row["analog_rate_hz"]), rel=1e-6)
    assert len(layout.events) == int(row["event_count"])
    assert len(layout.header.events) == int(row["header_event_count"])
    assert 3 * int(recording.valid.sum()) == int(row["valid_coords"])
    assert np.nansum(np.abs(recording.points)) == pytest.approx(float(row["sum_abs_points"]), rel=1e-9)
    assert np.abs(recording.analog).sum() == pytest.approx(number(row["sum_abs_analogs"]), rel=1e-9)
    assert recording.points.shape == (facts.frame_count, facts.point_count, 3)


@pytest.mark.parametrize("row", [p for p in NUMBERED if p.values[0]["plate_count"] != "0"])
def test_plates_have_the_types_and_mean_forces_of_the_manifest(row):
    recording = read_c3d(DEV / row["path"])
    metre = metres_per_unit(recording.layout.point_unit)
    assert [p.c3d_type for p in recording.plates] == [int(t) for t in row["plate_types"].split()]
    means = json.loads(row["plate_mean_force_lab_n"])
    verticals = json.loads(row["plate_mean_vertical_n"])
    for plate, mean, vertical in zip(recording.plates, means, verticals, strict=True):
        if vertical is None:
            assert plate.problem
            continue
        force, moment = force_and_moment_in_lab(recording, plate, metre)
        np.testing.assert_allclose(force.mean(axis=0), mean, atol=1e-3)
        assert force.mean(axis=0) @ vertical_axis(plate) == pytest.approx(vertical, abs=1e-3)
        assert np.isfinite(moment).all()


READ_RIGHT = [p for p in NUMBERED if p.values[0]["ezc3d_verdict"] == "correct"]


@pytest.mark.parametrize("row", READ_RIGHT)
def test_every_number_is_the_one_ezc3d_reads_to_the_last_bit(row):
    """No tolerance: both widen the stored 16- or 32-bit number to double precision before any arithmetic."""
    ours = read_c3d(DEV / row["path"])
    theirs = ezc3d.c3d(str(DEV / row["path"]))["data"]
    points, residuals = theirs["points"][:3].transpose(2, 1, 0), theirs["meta_points"]["residuals"][0].T
    valid = np.isfinite(points).all(axis=2) & (residuals >= 0)
    np.testing.assert_array_equal(ours.valid, valid)
    np.testing.assert_array_equal(ours.points[valid], points[valid])
    assert np.isnan(ours.points[~valid]).all()
    if int(row["analog_channels"]):
        np.testing.assert_array_equal(ours.analog, theirs["analogs"][0].T)
    else:
        assert ours.analog.size == 0


def test_most_of_the_corpus_is_read_right_by_ezc3d_and_so_compared():
    assert len(READ_RIGHT) >= 35


def test_the_second_opinion_agrees_or_says_what_differs_and_why():
    verdicts = {"correct": [], "fails": [], "WRONG": []}
    for row in MANIFEST:
        verdicts[row["ezc3d_verdict"].split()[0]].append(row)
    assert compare_readers(DEV / verdicts["correct"][0]["path"]) == []
    refused = [compare_readers(DEV / row["path"]) for row in verdicts["fails"] if row["processor"] == "MIPS"]
    assert len(refused) == 2
    assert all(len(told) == 1 and told[0].startswith("ezc3d refuses the file") for told in refused)
    for row in verdicts["WRONG"]:
        told = compare_readers(DEV / row["path"])
        assert len(told) >= 2, row["path"]
        assert any(sentence.startswith("Known:") for sentence in told), told


@pytest.mark.parametrize(("row", "reference"), EQUAL)
def test_the_same_trial_in_another_encoding_gives_the_same_signals(row, reference):
    ours = read_c3d(CORPUS / row["kept_in"])
    theirs = read_c3d(CORPUS / reference["kept_in"])
    assert len(ours.labels) == int(row["points_compared"])
    mine = [ours.labels.index(label) for label in ours.labels if label in theirs.labels]
    other = [theirs.labels.index(ours.labels[i]) for i in mine]
    assert len(mine) == len(ours.labels)
    quantum = max(number(r["quantum_points"]) for r in (row, reference))
    both = ours.valid[:, mine] & theirs.valid[:, other]
    apart = np.abs(ours.points[:, mine] - theirs.points[:, other])[both]
    assert apart.max() <= quantum + 1e-6
    assert (ours.valid[:, mine] != theirs.valid[:, other]).sum() == 0
    if row["max_abs_diff_analogs"]:
        np.testing.assert_allclose(ours.analog, theirs.analog, rtol=1e-6, atol=1e-6)


def test_there_were_encodings_to_compare():
    assert len(EQUAL) >= 6


@pytest.mark.parametrize("index", [1, 15, 25, 29, 30])
def test_looking_at_a_file_tells_what_the_manifest_says(index):
    row = MANIFEST[index]
    seen = look(DEV / row["path"])
    assert seen["readable"], seen["problem"]
    assert seen["points"]["count"] == int(row["points"])
    assert seen["events"] == int(row["event_count"])
    assert seen["encoding"] == {"processor": row["processor"], "storage": row["storage"]}
    verticals = json.loads(row["plate_mean_vertical_n"] or "[]")
    assert [p["mean_vertical_force_n"] for p in seen["plates"]] == pytest.approx(verticals, abs=1e-3)
    assert json.loads(json.dumps(seen, allow_nan=False)) == seen
    assert str(row["points"]) in render_look(seen)


def damage_and_read(job):
    """One damaged copy of a corpus file, read in a worker: how many frames there are, or a C3dProblem."""
    path, seed, target = job
    content = bytearray(path.read_bytes())
    rng = np.random.default_rng(seed)
    if seed % 4 == 0:
        del content[int(rng.integers(0, len(content))) :]
    else:
        end = (512, 512 * 12, len(content))[seed % 4 - 1]
        for _ in range(int(rng.integers(1, 8))):
            content[int(rng.integers(0, min(end, len(content))))] = int(rng.integers(0, 256))
    target.write_bytes(bytes(content))
    recording = read_c3d(target)
    counts = recording.layout.counts
    assert recording.points.shape == (counts.frames, counts.points, 3)
    assert recording.analog.size == counts.frames * counts.analog_per_frame
    return counts.frames


def test_damaged_files_end_in_a_refusal_or_in_whole_arrays_and_the_run_goes_on(tmp_path):
    files = [DEV / row["path"] for row in MANIFEST if int(row["bytes"]) < 500_000]
    jobs = [(files[seed % len(files)], seed, tmp_path / f"{seed}.c3d") for seed in range(300)]
    with Isolated(2, time_limit_s=20, memory_limit_mb=1024) as isolated:
        ends = list(isolated.map(damage_and_read, jobs))
    assert [end.detail for end in ends if end.problem not in (None, "malformed")] == []
    assert sum(end.problem == "malformed" for end in ends) > 30
    assert sum(end.problem is None for end in ends) > 30


def test_a_file_cut_anywhere_in_its_data_is_refused(tmp_path):
    for row in MANIFEST:
        content = (DEV / row["path"]).read_bytes()
        cut = tmp_path / "cut.c3d"
        cut.write_bytes(content[: len(content) * 2 // 3])
        with pytest.raises(C3dProblem):
            read_c3d(cut)
