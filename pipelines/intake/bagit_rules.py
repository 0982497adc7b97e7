"""Whether a folder is a whole and unchanged bag (BagIt 1.0, RFC 8493): files, checksums, manifests.

The ``bagit`` library judges structure and completeness; the rules it leaves out or only logs are here, and they come
first, so that the library never sees a path that leads elsewhere. What the bag holds is not looked at.
"""

from __future__ import annotations

import hashlib
import os
import re
import stat
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from pipelines.intake.archive import ArchiveLimits, path_fault, same_on_some_disk, shown
from schemas.received import Problem

_CHUNK = 1 << 20
_MOST_TAG_BYTES = 64 << 20
_STRONG = ("sha256", "sha512")
_ALGORITHMS = ("md5", "sha1", "sha224", "sha256", "sha384", "sha512")
_VERSIONS = ("0.97", "1.0")  # 0.97 is what the common Python tool writes; the rules here are those of 1.0 for both
_MANIFEST = re.compile(r"(tag)?manifest-([^/]+)\.txt")
_LINE = re.compile(r"([0-9A-Fa-f]+)[ \t]+\*?(.+)")


@dataclass
class BagFiles:
    """What a bag's folder holds. digests: path from the bag's root -> algorithm -> checksum; sizes: in bytes."""

    sizes: dict[str, int] = field(default_factory=dict)
    digests: dict[str, dict[str, str]] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)


def examine(root: Path, limits: ArchiveLimits | None = None) -> BagFiles:
    """Every file of the bag with its size and checksums (SHA-256 always), and all problems of kind "bag".

    Never raises on what a sender may have made. Files whose path is not one to be kept (links, ``..``, control
    characters) are a problem and not listed.
    """
    found = BagFiles()
    for path, size, fault in _walk(root, root, limits or ArchiveLimits()):
        if fault:
            found.problems.append(_problem(fault, "only plain files with plain names", shown(path)))
        else:
            found.sizes[path] = size
    found.problems += _names_told_apart(found.sizes)
    manifests = {p: m for p in sorted(found.sizes) if "/" not in p and (m := _MANIFEST.fullmatch(p))}
    algorithms = sorted({m.group(2) for m in manifests.values()} & set(_ALGORITHMS) | {"sha256"})
    _compute_digests(root, found, algorithms)
    found.problems += _declaration_problems(root, found)
    found.problems += _manifest_problems(root, found, manifests)
    if not found.problems:
        found.problems += _library_problems(root)
    return found


def _walk(root: Path, folder: Path, limits: ArchiveLimits) -> Iterator[tuple[str, int, str | None]]:
    """Path, size and fault of everything that is not a folder; ends early where there is far too much."""
    count = total = 0
    folders = [folder]
    while folders:
        current = folders.pop()
        try:
            entries = sorted(os.scandir(current), key=lambda e: e.name)
        except OSError as error:
            yield _relative(root, str(current)), 0, f"a folder cannot be read ({error.strerror})"
            continue
        for entry in entries:
            path, status = _relative(root, entry.path), entry.stat(follow_symlinks=False)
            count, total = count + 1, total + status.st_size
            if count > limits.most_members or total > limits.most_bytes:
                yield path, 0, f"more than {limits.most_members} files or {limits.most_bytes} bytes"
                return
            if stat.S_ISDIR(status.st_mode):
                folders.append(Path(entry.path))
            elif not stat.S_ISREG(status.st_mode):
                yield path, 0, "a link" if entry.is_symlink() else "neither file nor folder"
            elif fault := path_fault(path) or _percent(path):
                yield path, 0, f"a file whose path {fault}"
            else:
                yield path, status.st_size, None


def _percent(path: str) -> str | None:
    # version 1.0 writes "%" as "%25" in manifests, earlier ones do not; tools disagree, so nobody should need it
    return "has a percent sign, which bag tools write differently" if "%" in path else None


def _relative(root: Path, path: str) -> str:
    return Path(path).relative_to(root).as_posix()


def _names_told_apart(paths: dict[str, int]) -> Iterator[Problem]:
    first: dict[str, str] = {}
    for path in sorted(paths):
        other = first.setdefault(same_on_some_disk(path), path)
        if other != path:
            seen = f"{shown(other)} and {shown(path)} are one file on some computers"
            yield _problem(seen, "names that differ in more than upper and lower case", path)


def _compute_digests(root: Path, found: BagFiles, algorithms: list[str]) -> None:
    """One pass over the bytes for all checksums."""
    for path in sorted(found.sizes):
        sums = {name: hashlib.new(name) for name in algorithms}
        try:
            with (root / path).open("rb") as stream:
                while block := stream.read(_CHUNK):
                    for running in sums.values():
                        running.update(block)
        except OSError as error:
            seen = f"{shown(path)} cannot be read ({error.strerror})"
            found.problems.append(_problem(seen, "a readable file", path))
            continue
        found.digests[path] = {name: running.hexdigest() for name, running in sums.items()}


def _declaration_problems(root: Path, found: BagFiles) -> Iterator[Problem]:
    """bagit.txt, the payload folder and fetch.txt."""
    expected = "the two lines 'BagIt-Version: 1.0' and 'Tag-File-Character-Encoding: UTF-8'"
    if "bagit.txt" not in found.digests:
        yield _problem("bagit.txt is missing", expected, "bagit.txt")
    else:
        data = (root / "bagit.txt").read_bytes()[:1000]
        lines = data.decode("utf-8", "replace").splitlines()
        version = re.fullmatch(r"BagIt-Version: (\d+\.\d+)", lines[0]) if lines else None
        if data.startswith(b"\xef\xbb\xbf"):
            yield _problem("bagit.txt begins with a byte-order mark", expected, "bagit.txt")
        elif len(lines) != 2 or not version or lines[1] != "Tag-File-Character-Encoding: UTF-8":
            yield _problem("bagit.txt does not have these two lines", expected, "bagit.txt")
        elif version.group(1) not in _VERSIONS:
            yield _problem(f"the bag is of version {version.group(1)}", "version 1.0 or 0.97", "bagit.txt")
    if not (root / "data").is_dir():
        yield _problem("the folder data is missing", "the delivery's files in a folder named data")
    if "fetch.txt" in found.sizes:
        seen = "fetch.txt asks to fetch files from elsewhere"
        yield _problem(seen, "every file in the bag; nothing is fetched", "fetch.txt")


def _manifest_problems(root: Path, found: BagFiles, manifests: dict[str, re.Match[str]]) -> Iterator[Problem]:
    payload = {path for path in found.digests if path.startswith("data/")}
    for name, match in manifests.items():
        if (algorithm := match.group(2)) not in _ALGORITHMS:
            known = ", ".join(_ALGORITHMS)
            yield _problem(f"{name} uses checksums called {shown(algorithm)}", f"one of {known}", name)
    if not any(not m.group(1) and m.group(2) in _STRONG for m in manifests.values()):
        yield _problem("no payload manifest with strong checksums", "manifest-sha256.txt or manifest-sha512.txt")
    for name, match in manifests.items():
        is_tag, algorithm = bool(match.group(1)), match.group(2)
        if algorithm not in _ALGORITHMS or name not in found.digests:
            continue
        entries, faults = _entries(root / name, name, is_tag)
        yield from faults
        yield from _mismatches(entries, found, algorithm, name)
        if not is_tag:
            for path in sorted(payload - set(entries)):
                yield _problem(f"{shown(path)} is not listed in {name}", "every file of the payload listed", path)


def _entries(path: Path, name: str, is_tag: bool) -> tuple[dict[str, str], list[Problem]]:
    """Path to checksum, as one manifest lists them."""
    listed: dict[str, str] = {}
    faults: list[Problem] = []
    if path.stat().st_size > _MOST_TAG_BYTES:
        return {}, [_problem(f"{name} is larger than {_MOST_TAG_BYTES} bytes", "a list of files", name)]
    try:
        text = path.read_bytes().decode("utf-8")
    except UnicodeDecodeError:
        return {}, [_problem(f"{name} is not UTF-8", "UTF-8 text", name)]
    if text.startswith("\ufeff"):
        faults.append(_problem(f"{name} begins with a byte-order mark", "none", name))
    for number, line in enumerate(re.split(r"\r\n|\n|\r", text.lstrip("\ufeff")), start=1):
        if not line.strip():
            continue
        match, place = _LINE.fullmatch(line), f"line {number}"
        if not match:
            faults.append(_problem("a line that is not 'checksum path'", "checksum, space, path", name, place))
        elif fault := _listed_fault(match.group(2), is_tag):
            faults.append(
                _problem(f"the path {shown(match.group(2))} {fault}", "paths of this bag's files", name, place)
            )
        elif match.group(2) in listed:
            faults.append(_problem(f"{shown(match.group(2))} is listed twice", "every path once", name, place))
        else:
            listed[match.group(2)] = match.group(1).lower()
    return listed, faults


def _listed_fault(path: str, is_tag: bool) -> str | None:
    if fault := path_fault(path) or _percent(path):
        return fault
    if path.endswith("/"):
        return "is a folder"
    if not is_tag and not path.startswith("data/"):
        return "lies outside data/"
    if is_tag and (path.startswith("data/") or path.startswith("tagmanifest-")):
        return "has no place in a tag manifest"
    return None


def _mismatches(entries: dict[str, str], found: BagFiles, algorithm: str, name: str) -> Iterator[Problem]:
    for path, stated in sorted(entries.items()):
        if path not in found.sizes:
            yield _problem(f"{shown(path)} is listed in {name} but not there", "every listed file in the bag", path)
        elif path in found.digests and (actual := found.digests[path][algorithm]) != stated:
            seen = f"{shown(path)} has changed since the bag was made: its {algorithm} begins with {actual[:12]}"
            yield _problem(seen, f"one that begins with {stated[:12]}, as {name} says", path)


def _library_problems(root: Path) -> Iterator[Problem]:
    """What the bagit library finds beyond that, for example a wrong Payload-Oxum."""
    import logging

    import bagit

    logger = logging.getLogger("bagit")
    level = logger.level
    logger.setLevel(logging.CRITICAL)  # its log would repeat on the screen what becomes a finding
    try:
        bagit.Bag(str(root)).validate(completeness_only=True)
    except Exception as error:  # the library raises what it happens upon, ValueError for an Oxum without a dot
        reason = " ".join(str(error).replace(f"{root}/", "").split())[:300]
        yield _problem(f"the bag is not valid: {reason}", "a bag as BagIt 1.0 (RFC 8493) defines it")
    finally:
        logger.setLevel(level)


def _problem(seen: str, expected: str, file: str | None = None, place: str | None = None) -> Problem:
    return Problem("bag", seen, expected, file, place)
