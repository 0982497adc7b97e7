"""What BagIt (RFC 8493, version 1.0, and 0.93 to 0.97 before it) demands of a bag: declaration, manifests, checksums.

Only that. What the study asks for beyond it, such as strong checksums or plain names, is in ``bag_policy``; a bag that
is valid is valid here, whether the study takes it or not.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from pipelines.identity.file_names import OWN_TAG_FILES
from pipelines.intake.bag_files import MANIFEST, BagFiles
from pipelines.intake.litter import is_litter
from pipelines.intake.paths import way_fault
from schemas.received import Problem
from schemas.said import said

#: Copied again it would be lost again: what copies and archives leave out is just that.
_WITHOUT_LITTER = "Delete such files from the folder the delivery was made in and make the bag again, without them"

#: Versions that are known, oldest first. An unknown one is read by the rules of the last.
VERSIONS = ("0.93", "0.94", "0.95", "0.96", "0.97", "1.0")
#: Encodings of tag files that versions before 1.0 may name.
ENCODINGS = ("utf-8", "utf-16", "utf-16le", "utf-16be", "iso-8859-1", "us-ascii", "windows-1252")
_MOST_TAG_BYTES = 64 << 20
_LINE = re.compile(r"([0-9A-Fa-f]+)[ \t]+\*?(.+)")
_FETCH = re.compile(r"\S+[ \t]+(?:[0-9]+|-)[ \t]+(.+)")
_OXUM = re.compile(r"(?im)^payload-oxum[ \t]*:[ \t]*([^\r\n]*)")
_ENDS = re.compile(r"\r\n|\n|\r")


@dataclass(frozen=True)
class Declared:
    """What bagit.txt says. version: None if it does not say."""

    version: str | None = None
    encoding: str = "UTF-8"

    @property
    def before_1_0(self) -> bool:
        """Whether the rules of the drafts before version 1.0 hold."""
        return self.version in VERSIONS[:-1]


@dataclass(frozen=True)
class Manifest:
    """One manifest. listed: path of a file of the bag -> checksum in small letters; lines: -> on which line it is."""

    name: str
    is_tag: bool
    algorithm: str
    listed: dict[str, str]
    lines: dict[str, int]


def bagit_problems(root: Path, found: BagFiles, manifests: list[Manifest]) -> Iterator[Problem]:
    """What a bag breaks of BagIt's rules, but for lines of its manifests, which ``read_manifests`` tells."""
    declared, problems = declared_in(root, found)
    yield from problems
    payload_manifests = [m for m in manifests if not m.is_tag]
    if not (root / "data").is_dir():
        yield _problem("the folder data is missing", "the delivery's files in a folder named data")
    if not payload_manifests:
        yield _problem("there is no payload manifest", "a list of its files, such as manifest-sha256.txt")
    for first, second in _same_algorithm(manifests):
        yield _problem(
            f"{_called(first)} and {_called(second)} are for the same checksums", "one manifest for each", second
        )
    fetched = _fetched(root, found, declared, payload_manifests)
    yield from fetched.problems
    for manifest in manifests:
        yield from _mismatches(manifest, found, set() if manifest.is_tag else fetched.paths)
    yield from _not_listed(found, payload_manifests, declared)
    yield from _oxum_problems(root, found, declared)


def declared_in(root: Path, found: BagFiles) -> tuple[Declared, list[Problem]]:
    """Version and encoding, from the two lines of bagit.txt."""
    expected = "the two lines 'BagIt-Version: 1.0' and 'Tag-File-Character-Encoding: UTF-8'"
    if "bagit.txt" not in found.digests:
        return Declared(), [_problem("bagit.txt is missing", expected, "bagit.txt")]
    data = (root / "bagit.txt").read_bytes()[:1000]
    if data.startswith(b"\xef\xbb\xbf"):
        return Declared(), [_problem("bagit.txt begins with a byte-order mark", expected, "bagit.txt")]
    lines = data.decode("utf-8", "replace").splitlines()
    version = re.fullmatch(r"BagIt-Version: ([0-9]{1,3}\.[0-9]{1,3})", lines[0]) if lines else None
    encoding = re.fullmatch(r"Tag-File-Character-Encoding: (\S+)", lines[1]) if len(lines) == 2 else None
    if version is None or encoding is None:
        return Declared(), [_problem("bagit.txt does not have these two lines", expected, "bagit.txt")]
    declared = Declared(version.group(1), encoding.group(1))
    if encoding.group(1).lower() not in (ENCODINGS if declared.before_1_0 else ("utf-8",)):
        seen = f"bagit.txt names the encoding {said(encoding.group(1))} instead of UTF-8: not these two lines"
        return Declared(version.group(1)), [_problem(seen, expected, "bagit.txt")]
    return declared, []


def read_manifests(root: Path, found: BagFiles) -> tuple[list[Manifest], list[Problem]]:
    """Every manifest of the bag, and the lines that are none."""
    declared, _ = declared_in(root, found)
    manifests: list[Manifest] = []
    problems: list[Problem] = []
    for name in sorted(found.digests):
        if match := MANIFEST.fullmatch(name):
            listed, lines, faults = _entries(root, name, bool(match.group(1)), declared, found)
            manifests.append(Manifest(name, bool(match.group(1)), match.group(2).lower(), listed, lines))
            problems += faults
    return manifests, problems


def _entries(
    root: Path, name: str, is_tag: bool, declared: Declared, found: BagFiles
) -> tuple[dict[str, str], dict[str, int], list[Problem]]:
    """Path to checksum, and to the line of it, as one manifest lists them."""
    listed: dict[str, str] = {}
    lines: dict[str, int] = {}
    faults: list[Problem] = []
    text = _tag_text(root / name, declared.encoding)
    if text is None:
        return (
            {},
            {},
            [_problem(f"{_called(name)} is not {declared.encoding} text of less than 64 MiB", "a list of files", name)],
        )
    if text.startswith("\ufeff"):
        faults.append(_problem(f"{_called(name)} begins with a byte-order mark", "none", name))
    for number, line in enumerate(_ENDS.split(text.lstrip("\ufeff")), start=1):
        if not line.strip():
            continue
        match, place = _LINE.fullmatch(line), f"line {number}"
        if not match:
            faults.append(_problem("a line that is not 'checksum path'", "checksum, space, path", name, place))
            continue
        path, checksum = _path_named(match.group(2), declared, found), match.group(1).lower()
        if fault := _listed_fault(path, is_tag):
            faults.append(_problem(f"the path {said(path)} {fault}", "paths of this bag's files", name, place))
        elif path in listed and not (declared.before_1_0 and listed[path] == checksum):
            faults.append(_problem(f"{said(path)} is listed twice", "every path once", name, place))
        else:
            listed[path], lines[path] = checksum, number
    return listed, lines, faults


def _tag_text(path: Path, encoding: str) -> str | None:
    if path.stat().st_size > _MOST_TAG_BYTES:
        return None
    try:
        return path.read_bytes().decode(encoding)
    except UnicodeDecodeError:
        return None


def _path_named(written: str, declared: Declared, found: BagFiles) -> str:
    """The path a manifest's line names: without "./" before it, line ends and (from 1.0) percent signs decoded.

    Common tools leave a percent sign as it is; so a path is taken as written if only that is in the bag.
    """
    while written.startswith("./"):
        written = written[2:]
    codes = r"%0A|%0D" if declared.before_1_0 else r"%0A|%0D|%25"
    decoded = re.sub(codes, lambda code: chr(int(code[0][1:], 16)), written, flags=re.IGNORECASE)
    return written if written in found.sizes and decoded not in found.sizes else decoded


def _listed_fault(path: str, is_tag: bool) -> str | None:
    if path.endswith("/"):
        return "is a folder"
    if fault := way_fault(path):
        return fault
    if not is_tag and not path.startswith("data/"):
        return "lies outside data/"
    if is_tag and (path.startswith("data/") or path.startswith("tagmanifest-")):
        return "has no place in a tag manifest"
    return None


def _same_algorithm(manifests: list[Manifest]) -> Iterator[tuple[str, str]]:
    first: dict[tuple[bool, str], str] = {}
    for manifest in manifests:
        other = first.setdefault((manifest.is_tag, manifest.algorithm), manifest.name)
        if other != manifest.name:
            yield other, manifest.name


@dataclass(frozen=True)
class _Fetched:
    """Files that fetch.txt says lie elsewhere."""

    paths: set[str]
    problems: list[Problem]


def _fetched(root: Path, found: BagFiles, declared: Declared, manifests: list[Manifest]) -> _Fetched:
    paths: set[str] = set()
    problems: list[Problem] = []
    text = _tag_text(root / "fetch.txt", declared.encoding) if "fetch.txt" in found.digests else ""
    if text is None:
        return _Fetched(set(), [_problem("fetch.txt cannot be read as text", "lines of URL, length and path")])
    for number, line in enumerate(_ENDS.split(text), start=1):
        if not line.strip():
            continue
        match, place = _FETCH.fullmatch(line), f"line {number}"
        path = _path_named(match.group(1), declared, found) if match else ""
        if not match or _listed_fault(path, is_tag=False):
            expected = "URL, length or '-', and the path of a payload file"
            problems.append(_problem("a line of fetch.txt is not one", expected, "fetch.txt", place))
        elif not all(path in m.listed for m in manifests):
            problems.append(_problem(f"{said(path)} is not in every manifest", "it listed", "fetch.txt", place))
        paths.add(path)
    return _Fetched(paths, problems)


def _mismatches(manifest: Manifest, found: BagFiles, elsewhere: set[str]) -> Iterator[Problem]:
    name = _called(manifest.name)
    for path, stated in sorted(manifest.listed.items()):
        place = f"line {manifest.lines[path]} of {name}"
        if path not in found.sizes:
            if path not in elsewhere and is_litter(path):
                seen = f"{said(path)}, which an operating system left by itself, is listed in {name} but not there"
                yield replace(_problem(seen, "a bag of the study's own files only", path, place), mend=_WITHOUT_LITTER)
            elif path not in elsewhere:
                yield _problem(
                    f"{said(path)} is listed in {name} but not there", "every listed file in the bag", path, place
                )
        elif (actual := found.digests.get(path, {}).get(manifest.algorithm, stated)) != stated:
            seen = f"{said(path)} has changed since the bag was made: its {manifest.algorithm} begins with"
            yield _problem(f"{seen} {actual[:12]}", f"one that begins with {stated[:12]}, as {name} says", path, place)


def _not_listed(found: BagFiles, manifests: list[Manifest], declared: Declared) -> Iterator[Problem]:
    """Payload files that are not in every payload manifest; before version 1.0 one was enough."""
    payload = set(found.payload)
    if declared.before_1_0:
        for path in sorted(payload - {path for m in manifests for path in m.listed}) if manifests else ():
            yield _problem(f"{said(path)} is not listed in any manifest", "every file of the payload listed", path)
        return
    for manifest in manifests:
        for path in sorted(payload - set(manifest.listed)):
            yield _problem(
                f"{said(path)} is not listed in {_called(manifest.name)}", "every file of the payload listed", path
            )


def _oxum_problems(root: Path, found: BagFiles, declared: Declared) -> Iterator[Problem]:
    """Payload-Oxum, octets and files of the payload, if bag-info.txt has it."""
    text = _tag_text(root / "bag-info.txt", declared.encoding) if "bag-info.txt" in found.digests else None
    octets = sum(found.sizes[path] for path in found.payload)
    actual = f"{octets}.{len(found.payload)}"
    for stated in _OXUM.findall(text or ""):
        if stated.strip() != actual:
            seen = f"Payload-Oxum is {said(stated.strip())}"
            yield _problem(seen, f"{actual}, the payload's bytes and files", "bag-info.txt", "Payload-Oxum")


def _problem(seen: str, expected: str, file: str | None = None, place: str | None = None) -> Problem:
    return Problem("bag", seen, expected, said(file) if file else None, place)


def _called(name: str) -> str:
    """A tag file's name in a sentence: of BagIt's own as it is, of others as the sender's."""
    return name if OWN_TAG_FILES.fullmatch(name) else said(name)
