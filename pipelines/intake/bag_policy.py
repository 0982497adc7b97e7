"""What the study asks of a bag beyond BagIt, and why it turns some valid bags away: every refusal says that it does."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from pipelines.intake.bag_files import ALGORITHMS, BagFiles
from pipelines.intake.bagit_rules import VERSIONS, Manifest, declared_in
from pipelines.intake.paths import path_fault, same_on_some_disk
from schemas.received import Problem
from schemas.said import said

_STRONG = ("sha256", "sha512")


def policy_problems(root: Path, found: BagFiles, manifests: list[Manifest]) -> Iterator[Problem]:
    """Problems of kind "bag" with what the study does not take, though BagIt may allow it."""
    for path, what in found.odd:
        yield _problem(what, "plain files in plain folders", path)
    for number, path in enumerate(sorted(found.sizes), start=1):
        if fault := name_not_taken(path):
            place = f"file {number} of the bag in the order of names"
            yield _problem(f"a file whose path {fault}", "names that every computer can hold", path, place)
    yield from _names_told_apart(found)
    yield from _checksum_problems(manifests)
    declared, _ = declared_in(root, found)
    if declared.version is not None and declared.version not in VERSIONS:
        yield _problem(f"the bag is of version {declared.version}", f"{VERSIONS[0]} to {VERSIONS[-1]}", "bagit.txt")
    if declared.encoding.lower() != "utf-8":
        yield _problem(f"tag files are in {declared.encoding}", "tag files in UTF-8", "bagit.txt")
    if "fetch.txt" in found.sizes:
        seen = "fetch.txt asks to fetch files from elsewhere"
        yield _problem(seen, "every file in the bag; nothing is fetched", "fetch.txt")


def name_not_taken(path: str) -> str | None:
    """Why a file of this path is not taken in, None if it is."""
    # version 1.0 writes "%" as "%25" in manifests, earlier ones do not; tools disagree, so nobody should need it
    return path_fault(path) or ("has a percent sign, which bag tools write differently" if "%" in path else None)


def _names_told_apart(found: BagFiles) -> Iterator[Problem]:
    first: dict[str, str] = {}
    for path in sorted(path for path in found.sizes if not name_not_taken(path)):
        other = first.setdefault(same_on_some_disk(path), path)
        if other != path:
            seen = f"{said(other)} and {said(path)} are one file on some computers"
            yield _problem(seen, "names that differ in more than upper and lower case", path)


def _checksum_problems(manifests: list[Manifest]) -> Iterator[Problem]:
    for manifest in manifests:
        if manifest.algorithm not in ALGORITHMS:
            seen = f"{said(manifest.name)} uses checksums called {said(manifest.algorithm)}, which are not known here"
            yield _problem(seen, f"one of {', '.join(ALGORITHMS)}", manifest.name)
    own = [m for m in manifests if not m.is_tag]
    if own and not any(m.algorithm in _STRONG for m in own):
        yield _problem("no payload manifest with strong checksums", "manifest-sha256.txt or manifest-sha512.txt")


def _problem(seen: str, expected: str, file: str | None = None, place: str | None = None) -> Problem:
    return Problem("bag", seen, f"the study asks for {expected}", said(file) if file else None, place)
