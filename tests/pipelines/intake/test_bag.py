import hashlib
import os
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from pipelines.intake.bag import receive
from schemas.catalogue import tables_of
from schemas.convert.to_arrow import empty_frame
from schemas.model import Layer
from schemas.said import quoted, told
from tests.builders import a_study
from tests.pipelines.intake.bags import INFO, PAYLOAD, a_bag, manifests

STUDY = a_study()


def received(path: Path, inbox: str = "mill", work: Path | None = None):
    delivery, payload = receive(path, inbox, work or path.parent / "work", STUDY)
    return replace(delivery, problems=tuple(told(p, quoted) for p in delivery.problems)), payload


def problems(path: Path, inbox: str = "mill") -> list[tuple[str, str]]:
    return [(p.kind, p.seen) for p in received(path, inbox)[0].problems]


def test_a_good_bag_comes_through_whole(tmp_path):
    bag = a_bag(tmp_path)
    delivery, payload = received(bag)
    assert delivery.problems == ()
    assert payload == bag / "data"
    assert (delivery.site, delivery.number, delivery.arrived_as) == ("mill", 1, "mill-001")
    assert delivery.paths == {*PAYLOAD, "datapackage.json"}
    for file in delivery.files:
        data = (payload / file.path).read_bytes()
        assert (file.bytes, file.sha256) == (len(data), hashlib.sha256(data).hexdigest())
    assert delivery.tables["sent_trials"]["trial_id"].tolist() == ["T1"]
    assert set(delivery.tables) == {table.name for table in tables_of(Layer.DELIVERY)}


def test_a_zip_of_the_bag_is_the_same_delivery(tmp_path):
    bag = a_bag(tmp_path)
    archive = Path(shutil.make_archive(str(tmp_path / "sent"), "zip", tmp_path, bag.name))
    from_folder, _ = received(bag)
    from_zip, payload = received(archive)
    assert from_zip.problems == ()
    assert from_zip.fingerprint == from_folder.fingerprint
    assert from_zip.files == from_folder.files
    assert payload is not None
    assert (payload / "trials/T1.c3d").read_text() == PAYLOAD["trials/T1.c3d"]
    assert from_zip.arrived_as == "sent.zip"


def test_the_fingerprint_is_over_sorted_lines_of_checksum_and_path(tmp_path):
    delivery, _ = received(a_bag(tmp_path))
    lines = sorted(f"{f.sha256} {f.path}\n" for f in delivery.files)
    assert delivery.fingerprint == hashlib.sha256("".join(lines).encode()).hexdigest()


@pytest.mark.parametrize(
    ("info", "inbox", "seen"),
    [
        (INFO.replace("Site: mill\n", ""), "mill", "Site is missing"),
        (INFO.replace("Site: mill", "Site:"), "mill", "Site is missing"),
        (INFO.replace("mill", "elsewhere"), "mill", "which the study does not know"),
        (INFO, "way", "Site names another site than the one in whose inbox the bag lay"),
        (INFO.replace("Delivery-Number: 1\n", ""), "mill", "Delivery-Number is missing"),
        (INFO.replace("Number: 1", "Number: 0"), "mill", "Delivery-Number is '0'"),
        (INFO.replace("Number: 1", "Number: -1"), "mill", "Delivery-Number is '-1'"),
        (INFO.replace("Number: 1", "Number: 1.5"), "mill", "Delivery-Number is '1.5'"),
        (INFO.replace("Number: 1", "Number: first"), "mill", "Delivery-Number is 'first'"),
        (INFO.replace("Number: 1", "Number: ٣"), "mill", "Delivery-Number is"),
        (INFO.replace("A test study", "Another study"), "mill", "Study is 'Another study'"),
        (INFO.replace("Study: A test study\n", ""), "mill", "Study is missing"),
        (INFO + "Site: way\n", "mill", "Site stands twice"),
        (None, "mill", "bag-info.txt is missing"),
    ],
)
def test_each_fault_of_bag_info_is_named(info, inbox, seen, tmp_path):
    found = problems(a_bag(tmp_path, info=info), inbox)
    assert {kind for kind, _ in found} == {"bag_info"}
    assert any(seen in text for _, text in found)


def test_a_site_the_study_does_not_know_is_not_passed_on(tmp_path):
    delivery, _ = received(a_bag(tmp_path, info=INFO.replace("mill", "../../evil")))
    assert delivery.site is None


def test_a_bag_tried_outside_any_inbox_has_no_inbox_to_agree_with(tmp_path):
    assert problems(a_bag(tmp_path), inbox="") == []


def test_labels_are_read_in_any_case_and_long_values_over_several_lines(tmp_path):
    info = "SITE: mill\r\nstudy: A test\r\n  study\r\ndelivery-number: 007\r\n"
    delivery, _ = received(a_bag(tmp_path, info=info))
    assert delivery.problems == ()
    assert (delivery.site, delivery.number) == ("mill", 7)


def test_names_and_addresses_of_people_are_not_kept(tmp_path):
    people = "Contact-Name: A. Person\nContact-Email: a@example.org\ncontact-phone: 123\n"
    delivery, _ = received(a_bag(tmp_path, info=INFO + people))
    assert delivery.problems == ()
    assert "Person" not in repr(delivery)
    assert "example.org" not in repr(delivery)
    assert delivery.bag_info["Contact-Role"] == "data manager"


def test_a_changed_byte_is_found_and_the_file_named(tmp_path):
    bag = a_bag(tmp_path)
    (bag / "data/trials/T1.c3d").write_text("not a real recordinG")
    delivery, _ = received(bag)
    assert [(p.kind, p.file) for p in delivery.problems] == [("bag", "data/trials/T1.c3d")]


def test_a_link_in_the_bag_is_refused_and_not_followed(tmp_path):
    secret = tmp_path / "secret.csv"
    secret.write_text("not to be read")
    bag = a_bag(tmp_path)
    (bag / "data/weeks.csv").symlink_to(secret)
    delivery, _ = received(bag)
    assert ("bag", "a link") in [(p.kind, p.seen) for p in delivery.problems]
    assert "weeks.csv" not in delivery.paths
    assert "not to be read" not in repr(delivery)
    assert delivery.tables["sent_weeks"].empty


def test_a_payload_folder_that_is_a_link_is_refused(tmp_path):
    bag = a_bag(tmp_path)
    (bag / "data").rename(tmp_path / "elsewhere")
    (bag / "data").symlink_to(tmp_path / "elsewhere")
    delivery, payload = received(bag)
    assert payload is None
    assert ("bag", "a link") in [(p.kind, p.seen) for p in delivery.problems]
    assert delivery.files == ()


def test_a_delivery_that_is_itself_a_link_is_refused(tmp_path):
    bag = a_bag(tmp_path)
    (tmp_path / "link").symlink_to(bag)
    delivery, payload = received(tmp_path / "link")
    assert payload is None
    assert [p.kind for p in delivery.problems] == ["archive"]


def test_a_pipe_in_the_bag_is_refused_and_not_read(tmp_path):
    bag = a_bag(tmp_path)
    os.mkfifo(bag / "data" / "trials" / "pipe")
    assert ("bag", "neither file nor folder") in problems(bag)


def test_file_names_that_only_some_disks_tell_apart_are_a_problem(tmp_path):
    bag = a_bag(tmp_path, payload=PAYLOAD | {"trials/t1.c3d": "x"})
    assert any("one file on some computers" in seen for _, seen in problems(bag))


@pytest.mark.parametrize("name", ["a%20b", "a\nb", "a\\b", "a\x1b[2J", os.fsdecode(b"a\xffb")])
def test_a_file_name_that_tools_write_differently_is_a_problem_and_the_file_is_not_listed(name, tmp_path):
    bag = a_bag(tmp_path)
    (bag / "data" / name).write_text("x")
    delivery, _ = received(bag)
    assert any(p.kind == "bag" and "a file whose path" in p.seen for p in delivery.problems)
    assert name not in delivery.paths
    for problem in delivery.problems:
        f"{problem}".encode()
        assert "\x1b" not in problem.seen + str(problem.place)


@pytest.mark.parametrize("what", ["nothing there", "a tar file", "an empty folder", "an empty file"])
def test_what_is_no_delivery_is_a_problem_with_empty_tables_and_a_fingerprint(what, tmp_path):
    path = tmp_path / "thing.tar"
    if what == "an empty folder":
        path.mkdir()
    elif what != "nothing there":
        path.write_bytes(b"" if "empty" in what else b"ustar" * 99)
    delivery, payload = received(path)
    assert payload is None
    assert delivery.problems
    assert {p.kind for p in delivery.problems} <= {"archive", "bag", "bag_info"}
    assert len(delivery.fingerprint) == 64
    for table in tables_of(Layer.DELIVERY):
        assert dict(delivery.tables[table.name].dtypes) == dict(empty_frame(table).dtypes)


def test_two_archives_that_cannot_be_opened_are_not_taken_for_one(tmp_path):
    prints = set()
    for content in (b"one", b"two"):
        path = tmp_path / f"{content.decode()}.zip"
        path.write_bytes(content)
        prints.add(received(path)[0].fingerprint)
    assert len(prints) == 2


def test_a_refused_archive_leaves_nothing_in_the_work_folder(tmp_path):
    import zipfile

    path, work = tmp_path / "d.zip", tmp_path / "work"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("mill-001/../../evil", "x")
    delivery, payload = received(path, work=work)
    assert payload is None
    assert {p.kind for p in delivery.problems} == {"archive"}
    assert not work.exists() or not any(work.rglob("*"))


@pytest.mark.parametrize(
    ("descriptor", "seen"),
    [
        (None, "datapackage.json is missing"),
        ("{", "not a Data Package descriptor"),
        ("[" * 100_000, "not a Data Package descriptor"),
        ("[]", "not a Data Package descriptor"),
        ('{"resources": {}}', "not a Data Package descriptor"),
        ('{"resources": [1]}', "not a Data Package descriptor"),
        ('{"resources": [{"name": "x"}]}', "resource 1 has no path"),
        ('{"resources": [{"path": "../../etc/passwd"}]}', "which is not there"),
        ('{"resources": [{"path": "none.csv"}]}', "which is not there"),
        ('{"resources": [{"path": "trials.csv"}]}', "sessions.csv is not listed"),
    ],
)
def test_each_fault_of_the_descriptor_is_named(descriptor, seen, tmp_path):
    payload = PAYLOAD | ({"datapackage.json": descriptor} if descriptor else {})
    found = problems(a_bag(tmp_path, payload=payload, described=False))
    assert {kind for kind, _ in found} == {"descriptor"}
    assert any(seen in text for _, text in found)


def test_a_broken_bag_still_tells_its_site_its_tables_and_all_its_faults_at_once(tmp_path):
    payload = PAYLOAD | {"trials.csv": PAYLOAD["trials.csv"].replace("running", "flying")}
    bag = a_bag(tmp_path, payload=payload, info=INFO.replace("Number: 1", "Number: one"))
    (bag / "data/trials/T1.c3d").unlink()
    delivery, _ = received(bag)
    assert {p.kind for p in delivery.problems} == {"bag", "bag_info", "cell"}
    assert delivery.site == "mill"
    assert len(delivery.tables["sent_trials"]) == 1


def test_many_algorithms_are_checked_in_one_pass_and_sha256_is_always_ours(tmp_path):
    bag = a_bag(tmp_path, algorithms=("sha512", "md5"))
    delivery, _ = received(bag)
    assert delivery.problems == ()
    text = (bag / "manifest-md5.txt").read_text()
    (bag / "manifest-md5.txt").write_text(text.replace(text[:4], "0000", 1))
    (bag / "tagmanifest-sha512.txt").unlink()
    (bag / "tagmanifest-md5.txt").unlink()
    assert [kind for kind, _ in problems(bag)] == ["bag"]


def test_the_bagit_library_leaves_no_line_on_the_screen(tmp_path, caplog, capfd):
    bag = a_bag(tmp_path, info=INFO + "Payload-Oxum: 1.1\n")
    found = problems(bag)
    assert [kind for kind, _ in found] == ["bag"]
    assert "Oxum" in found[0][1]
    assert not caplog.records
    assert capfd.readouterr() == ("", "")


def test_a_payload_added_after_packing_is_found_also_when_a_tag_manifest_is_made_anew(tmp_path):
    bag = a_bag(tmp_path)
    (bag / "data/extra.csv").write_text("x")
    assert ("bag", "'data/extra.csv' is not listed in manifest-sha256.txt") in problems(bag)
    manifests(bag, "sha256")
    assert problems(bag) == []


def test_of_thousands_of_alike_faults_the_first_are_told_and_the_rest_counted(tmp_path):
    bag = a_bag(tmp_path)
    for number in range(1000):
        (bag / "data" / f"stray-{number}.txt").write_text("x")
    found = problems(bag)
    assert 200 <= len(found) < 300
    assert ("bag", "the same holds at 800 more places") in found


def test_litter_that_was_packed_and_is_gone_is_not_to_be_copied_again(tmp_path):
    bag = a_bag(tmp_path)
    (bag / "data/.DS_Store").write_bytes(b"x")
    manifests(bag, "sha256")
    (bag / "data/.DS_Store").unlink()
    delivery, _ = received(bag)
    told = [p for p in delivery.problems if p.kind == "bag" and "'data/.DS_Store'" in p.seen]
    assert [p.mend for p in told] == [
        "Delete such files from the folder the delivery was made in and make the bag again, without them"
    ]


def test_a_bag_two_folders_deep_is_found_with_litter_beside_the_way(tmp_path):
    outer = tmp_path / "Users" / "upload"
    outer.mkdir(parents=True)
    bag = a_bag(outer)
    (tmp_path / "Users" / ".DS_Store").write_bytes(b"x")
    (outer / "desktop.ini").write_bytes(b"x")
    delivery, payload = received(tmp_path / "Users", work=tmp_path / "work")
    assert payload == bag / "data"
    told = [problem.seen for problem in delivery.problems]
    assert any("2 folders deeper than it should, in 'upload/mill-001'" in seen for seen in told)
    assert any("2 files that operating systems left" in seen for seen in told)
    assert {problem.kind for problem in delivery.problems} == {"beside"}


@pytest.mark.parametrize(
    "path",
    [
        "data/@eaDir/trials.csv",
        "data/.~lock.trials.csv#",
        "data/~$trials.xlsx",
        "data/trials.csv:Zone.Identifier",
        "$RECYCLE.BIN/desktop.ini",
        "data/.Trash-1000/info/a",
        "System Volume Information/x",
    ],
)
def test_what_programs_and_shared_disks_leave_behind_is_passed_over(path, tmp_path):
    bag = a_bag(tmp_path)
    (bag / path).parent.mkdir(parents=True, exist_ok=True)
    (bag / path).write_bytes(b"x")
    delivery, _ = received(bag)
    assert [problem.kind for problem in delivery.problems] == ["beside"]
    assert delivery.paths == {*PAYLOAD, "datapackage.json"}
