"""BagIt 1.0 (RFC 8493), one rule broken at a time, and the ``bagit`` library as a second opinion.

What BagIt demands and what the study asks for beyond it are tried apart: a bag that is valid is valid by the rules,
whether the study takes it or not. K numbers are those of a list of the RFC's rules; cases marked "suite" are those of
the Library of Congress conformance suite (commit 9ab48705), made again here.
"""

import hashlib
import logging
import re
import tempfile
from collections.abc import Callable
from pathlib import Path

import bagit
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.intake.bag_files import compute_digests, files_of
from pipelines.intake.bagit_rules import VERSIONS, bagit_problems, read_manifests
from pipelines.intake.examine import examine
from schemas.quota import Quota
from schemas.said import quoted, told
from tests.pipelines.intake.bags import INFO, a_bag, manifests
from tests.tries import tries

logging.getLogger("bagit").setLevel(logging.CRITICAL)
TWO = ("sha256", "sha512")


def edit(path: Path, change: Callable[[str], str]) -> None:
    path.write_bytes(change(path.read_bytes().decode()).encode())


def declare(text: str) -> Callable[[Path], None]:
    return lambda bag: _write(bag / "bagit.txt", text)


def _write(path: Path, text: str) -> None:
    path.write_bytes(text.encode())


def listing(line: str) -> Callable[[Path], None]:
    """Add a line to the sha256 manifest."""
    return lambda bag: edit(bag / "manifest-sha256.txt", lambda text: text + line + "\n")


def first_line(bag: Path) -> str:
    return (bag / "manifest-sha256.txt").read_text().splitlines()[0]


ZEROS = "0" * 64
BROKEN: dict[str, tuple[Callable[[Path], None], str]] = {
    "K1 no bagit.txt": (lambda bag: (bag / "bagit.txt").unlink(), "bagit.txt is missing"),
    "K1 byte-order mark (suite)": (
        declare("\ufeffBagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"),
        "byte-order mark",
    ),
    "K1 one line": (declare("BagIt-Version: 1.0\n"), "two lines"),
    "K1 three lines": (declare("BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\nx: y\n"), "two lines"),
    "K1 other encoding": (declare("BagIt-Version: 1.0\nTag-File-Character-Encoding: latin-1\n"), "two lines"),
    "K1 no version number": (declare("BagIt-Version: new\nTag-File-Character-Encoding: UTF-8\n"), "two lines"),
    "K2 space before the colon (suite)": (
        declare("BagIt-Version : 1.0\nTag-File-Character-Encoding : UTF-8\n"),
        "two lines",
    ),
    "K3 no payload folder": (lambda bag: (bag / "data").rename(bag / "payload"), "the folder data is missing"),
    "K4 no manifest": (
        lambda bag: [(bag / f"manifest-{a}.txt").unlink() for a in TWO],
        "no payload manifest",
    ),
    "K4 two manifests for one algorithm": (
        lambda bag: (bag / "manifest-SHA256.txt").write_bytes((bag / "manifest-sha256.txt").read_bytes()),
        "the same checksums",
    ),
    "K5 not all manifests list all files (suite)": (
        lambda bag: edit(bag / "manifest-sha512.txt", lambda text: text.split("\n", 1)[1]),
        "not listed in manifest-sha512.txt",
    ),
    "K5 a file that no manifest lists": (lambda bag: _write(bag / "data" / "stray", "x"), "is not listed"),
    "K6 a listed file is missing": (
        lambda bag: (bag / "data/trials.csv").unlink(),
        "listed in manifest-sha256.txt but",
    ),
    "K6 a listed tag file is missing": (
        lambda bag: (bag / "bag-info.txt").unlink(),
        "listed in tagmanifest-sha256.txt but",
    ),
    "K7 a line outside data/": (
        lambda bag: listing(f"{hashlib.sha256((bag / 'bagit.txt').read_bytes()).hexdigest()}  bagit.txt")(bag),
        "lies outside data/",
    ),
    "K7 a folder": (listing(f"{ZEROS}  data/trials/"), "is a folder"),
    "K8 a path twice with the same checksum (suite)": (lambda bag: listing(first_line(bag))(bag), "listed twice"),
    "K8 a path twice with another checksum (suite)": (
        lambda bag: listing(f"{ZEROS}  {first_line(bag).split(None, 1)[1]}")(bag),
        "listed twice",
    ),
    "K9 a changed payload file": (lambda bag: edit(bag / "data/trials.csv", str.upper), "has changed"),
    "K9 a changed tag file": (lambda bag: edit(bag / "bag-info.txt", lambda text: text + "X: y\n"), "has changed"),
    "K9 no checksum": (listing("data/x"), "not 'checksum path'"),
    "K10 out of scope by .. (suite)": (listing(f"{ZEROS}  data/../../evil"), "leads out"),
    "K10 out of scope, absolute (suite)": (listing(f"{ZEROS}  /etc/passwd"), "is absolute"),
    "K10 out of scope, home (suite)": (listing(f"{ZEROS}  ~/evil"), "'~'"),
    "K10 out of scope, drive": (listing(f"{ZEROS}  C:\\evil"), "backslash"),
    "K10 a drive path": (listing(f"{ZEROS}  C:/evil"), "is absolute"),
    "K11 an encoded line end names the file with a line end, which is not there": (
        listing(f"{ZEROS}  data/a%0Ab"),
        "'data/a?b' is listed in manifest-sha256.txt but",
    ),
    "K11 a path that leads out once it is decoded": (listing(f"{ZEROS}  data/%0A/../../x"), "leads out"),
    "K12 a payload file in a tag manifest": (
        lambda bag: edit(bag / "tagmanifest-sha256.txt", lambda text: text + first_line(bag) + "\n"),
        "no place in a tag manifest",
    ),
    "K12 a tag manifest in a tag manifest": (
        lambda bag: edit(bag / "tagmanifest-sha256.txt", lambda text: text + f"{ZEROS}  tagmanifest-sha512.txt\n"),
        "no place in a tag manifest",
    ),
    "K13 a line of fetch.txt without a path": (lambda bag: _write(bag / "fetch.txt", "https://x/ 1\n"), "fetch.txt"),
    "K13 fetch.txt leads out (suite)": (
        lambda bag: _write(bag / "fetch.txt", "https://x/ 1 data/../../x\n"),
        "a line of fetch.txt is not one",
    ),
    "K13 a file to fetch that no manifest lists": (
        lambda bag: _write(bag / "fetch.txt", "https://x/ - data/x\n"),
        "not in every manifest",
    ),
    "a manifest that is not UTF-8": (
        lambda bag: (bag / "manifest-sha256.txt").write_bytes(b"\xff\xfe" * 50),
        "is not UTF-8",
    ),
    "a manifest with a byte-order mark": (
        lambda bag: edit(bag / "manifest-sha256.txt", lambda text: "\ufeff" + text),
        "byte-order mark",
    ),
}


def seen(bag: Path) -> list[str]:
    """All that is wrong with a bag, by the rules or for the study."""
    problems = examine(bag, Quota()).problems
    assert {p.kind for p in problems} <= {"bag"}
    return [told(p, quoted).seen for p in problems]


def by_the_rules(bag: Path) -> list[str]:
    """What a bag breaks of BagIt alone."""
    found = files_of(bag, Quota())
    compute_digests(bag, found)
    listed, lines = read_manifests(bag, found)
    return [told(p, quoted).seen for p in [*lines, *bagit_problems(bag, found, listed)]]


def asked_by_the_study(bag: Path) -> list[str]:
    """What is wrong with a bag that BagIt calls valid; each says that it is the study which asks."""
    assert by_the_rules(bag) == []
    problems = examine(bag, Quota()).problems
    assert all(p.expected.startswith("the study asks for ") for p in problems), problems
    return [told(p, quoted).seen for p in problems]


@pytest.mark.parametrize("rule", BROKEN)
def test_a_bag_that_breaks_one_rule_is_refused_and_the_rule_is_named(rule, tmp_path):
    break_it, words = BROKEN[rule]
    bag = a_bag(tmp_path, algorithms=TWO)
    assert seen(bag) == []
    break_it(bag)
    assert any(words in text for text in by_the_rules(bag)), by_the_rules(bag)
    assert seen(bag)


def test_a_wrong_octet_and_stream_count_is_refused(tmp_path):
    """Rule K14."""
    bag = a_bag(tmp_path, info=INFO + "Payload-Oxum: 5.1\n")
    assert any("Payload-Oxum" in text for text in by_the_rules(bag))


@pytest.mark.parametrize("oxum", ["5", "x.y", "-1.1", "1.1.1", ""])
def test_a_count_that_is_not_two_numbers_is_refused_and_no_error(oxum, tmp_path):
    assert by_the_rules(a_bag(tmp_path, info=INFO + f"Payload-Oxum: {oxum}\n"))


def of_version(bag: Path, version: str, encoding: str = "UTF-8") -> Path:
    _write(bag / "bagit.txt", f"BagIt-Version: {version}\nTag-File-Character-Encoding: {encoding}\n")
    for path in bag.glob("tagmanifest-*"):
        path.unlink()
    return bag


@pytest.mark.parametrize("version", VERSIONS)
def test_a_bag_of_any_version_is_valid(version, tmp_path):
    assert seen(of_version(a_bag(tmp_path), version)) == []


@pytest.mark.parametrize("version", VERSIONS)
def test_before_version_1_0_one_manifest_need_list_a_file_and_a_line_may_stand_twice(version, tmp_path):
    """Rules K5 and K8, which are new in 1.0."""
    bag = of_version(a_bag(tmp_path, algorithms=TWO), version)
    edit(bag / "manifest-sha512.txt", lambda text: text.split("\n", 1)[1])
    edit(bag / "manifest-sha256.txt", lambda text: text + text.splitlines()[0] + "\n")
    assert (seen(bag) == []) is (version != "1.0")


@pytest.mark.parametrize("version", VERSIONS)
def test_two_checksums_for_one_file_are_refused_in_every_version(version, tmp_path):
    bag = of_version(a_bag(tmp_path), version)
    listing(f"{ZEROS}  {first_line(bag).split(None, 1)[1]}")(bag)
    assert any("listed twice" in text for text in by_the_rules(bag))


def test_paths_may_begin_with_a_dot_and_a_slash(tmp_path):
    """Rule K10, relative to the bag's root; some packers write paths so."""
    bag = a_bag(tmp_path, algorithms=TWO)
    for path in bag.glob("*manifest-*"):
        edit(path, lambda text: text.replace("  ", "  ./"))
    (bag / "tagmanifest-sha256.txt").unlink()
    (bag / "tagmanifest-sha512.txt").unlink()
    assert seen(bag) == []


@pytest.mark.parametrize(("name", "written"), [("a\nb", "a%0Ab"), ("a\rb", "a%0Db"), ("a%b", "a%25b"), ("a%b", "a%b")])
def test_percent_encoded_names_are_valid_but_the_study_asks_for_plain_ones(name, written, tmp_path):
    """Rule K11; a percent sign left as it is, as common tools write it, is read as well."""
    bag = a_bag(tmp_path, payload={"trials.csv": "x"})
    (bag / "data" / name).write_bytes(b"x")
    (bag / "tagmanifest-sha256.txt").unlink()
    for code in (written, written.lower()):
        (bag / "manifest-sha256.txt").write_text(
            "".join(
                f"{hashlib.sha256(path.read_bytes()).hexdigest()}  data/{code if path.name == name else path.name}\n"
                for path in (bag / "data").iterdir()
            )
        )
        assert asked_by_the_study(bag)


def test_before_version_1_0_a_percent_sign_stands_for_itself(tmp_path):
    bag = of_version(a_bag(tmp_path), "0.97")
    (bag / "data" / "a%25b").write_bytes(b"x")
    listing(f"{hashlib.sha256(b'x').hexdigest()}  data/a%25b")(bag)
    assert by_the_rules(bag) == []


STUDY_ASKS: dict[str, tuple[Callable[[Path], object], str]] = {
    "strong checksums (K15)": (
        lambda bag: (
            [(bag / f"{kind}-sha256.txt").unlink() for kind in ("manifest", "tagmanifest")] + [manifests(bag, "md5")]
        ),
        "no payload manifest with strong checksums",
    ),
    "checksums it knows (K15)": (
        lambda bag: (bag / "manifest-rot13.txt").write_text(
            re.sub(r"(?m)^\w+", "00", (bag / "manifest-sha256.txt").read_text())
        ),
        "rot13",
    ),
    "nothing to fetch (K13, suite local-fetch)": (
        lambda bag: _write(bag / "fetch.txt", f"https://x/ - {first_line(bag).split(None, 1)[1]}\n"),
        "fetch.txt asks to fetch",
    ),
    "a version it knows": (lambda bag: of_version(bag, "2.0"), "version 2.0"),
    "tag files in UTF-8 (suite UTF-16-encoded-tag-files)": (
        lambda bag: [
            of_version(bag, "0.97", "UTF-16"),
            *(
                (bag / n).write_bytes((bag / n).read_text().encode("utf-16"))
                for n in ("manifest-sha256.txt", "bag-info.txt")
            ),
        ],
        "UTF-16",
    ),
    "names that every disk tells apart": (
        lambda bag: [_write(bag / "data" / "TRIALS.CSV", "x"), manifests(bag, "sha256")],
        "one file on some computers",
    ),
    "plain files": (lambda bag: (bag / "data" / "link").symlink_to("trials.csv"), "a link"),
}


@pytest.mark.parametrize("wish", STUDY_ASKS)
def test_what_the_study_asks_for_beyond_bagit_is_told_as_its_wish(wish, tmp_path):
    change, words = STUDY_ASKS[wish]
    bag = a_bag(tmp_path)
    change(bag)
    assert any(words in text for text in asked_by_the_study(bag))


@pytest.mark.parametrize("algorithm", ["md5", "sha1"])
def test_weak_checksums_alone_are_refused(algorithm, tmp_path):
    """Rule K15 discourages them; we ask for SHA-256 or SHA-512."""
    assert any("strong" in text for text in seen(a_bag(tmp_path, algorithms=(algorithm,))))


@pytest.mark.parametrize("algorithms", [("sha256",), ("sha512",), ("sha512", "md5"), ("sha256", "sha1", "sha384")])
def test_strong_checksums_with_or_without_weak_ones_are_taken(algorithms, tmp_path):
    assert seen(a_bag(tmp_path, algorithms=algorithms)) == []


def test_checksums_may_be_in_capitals(tmp_path):
    """Rule K9: hexadecimal digits are compared without regard to case."""
    bag = a_bag(tmp_path)
    edit(bag / "manifest-sha256.txt", lambda text: re.sub(r"(?m)^\w+", lambda m: m.group().upper(), text))
    (bag / "tagmanifest-sha256.txt").unlink()
    assert seen(bag) == []


def test_a_star_before_the_path_and_windows_line_ends_are_taken(tmp_path):
    bag = a_bag(tmp_path)
    edit(bag / "manifest-sha256.txt", lambda text: text.replace("  ", " *").replace("\n", "\r\n"))
    edit(bag / "bagit.txt", lambda text: text.replace("\n", "\r\n"))
    (bag / "tagmanifest-sha256.txt").unlink()
    assert seen(bag) == []


def test_a_bag_without_tag_manifests_is_valid(tmp_path):
    bag = a_bag(tmp_path)
    (bag / "tagmanifest-sha256.txt").unlink()
    assert seen(bag) == []


def test_other_folders_beside_the_payload_are_allowed(tmp_path):
    bag = a_bag(tmp_path)
    (bag / "notes").mkdir()
    (bag / "notes" / "readme.txt").write_text("x")
    assert seen(bag) == []


@pytest.mark.parametrize("version", ["0.97", "1.0"])
def test_a_bag_that_the_library_makes_is_valid_for_us(version, tmp_path):
    folder = tmp_path / "made"
    (folder / "trials").mkdir(parents=True)
    (folder / "trials" / "ä b.c3d").write_bytes(b"x" * 10)
    (folder / "trials.csv").write_text("x")
    bagit.make_bag(str(folder), {"Site": "mill"}, checksums=["sha256", "sha512"])
    edit(folder / "bagit.txt", lambda text: text.replace("0.97", version))
    for path in folder.glob("tagmanifest-*"):
        path.unlink()
    assert seen(folder) == []


@tries(80)
@given(st.data())
def test_what_the_library_refuses_in_full_validation_we_refuse(data):
    with tempfile.TemporaryDirectory() as folder:
        bag = a_bag(Path(folder), algorithms=TWO)
        files = sorted(p for p in bag.rglob("*") if p.is_file())
        for _ in range(data.draw(st.integers(0, 2))):
            path = data.draw(st.sampled_from(files))
            action = data.draw(st.sampled_from(["remove", "flip", "cut", "add"]))
            if not path.exists():
                continue
            content = bytearray(path.read_bytes())
            if action == "remove":
                path.unlink()
            elif action == "add":
                path.with_name(path.name + "x").write_bytes(b"x")
            elif action == "cut":
                path.write_bytes(content[: data.draw(st.integers(0, len(content)))])
            elif content:
                content[data.draw(st.integers(0, len(content) - 1))] ^= data.draw(st.integers(1, 255))
                path.write_bytes(content)
        try:
            bagit.Bag(str(bag)).validate()
            refused = False
        except Exception:
            refused = True
        if refused:
            assert seen(bag)


def test_remaking_the_manifests_makes_a_changed_bag_valid_again(tmp_path):
    bag = a_bag(tmp_path)
    _write(bag / "data" / "trials.csv", "changed on purpose")
    assert seen(bag)
    manifests(bag, "sha256")
    assert seen(bag) == []
