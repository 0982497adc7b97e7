"""What lies in a bag's folder: every file with its size and checksums. What that means is for the rules."""

from __future__ import annotations

import hashlib
import os
import re
import stat
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

from pipelines.intake.litter import is_litter
from schemas.quota import Quota
from schemas.received import Problem

CHUNK = 1 << 20
_DEEPEST = 8  # folders round a bag, far more than zipping a folder of a folder makes
#: Checksums that can be computed here, by the name a manifest's file carries.
ALGORITHMS = ("md5", "sha1", "sha224", "sha256", "sha384", "sha512")
MANIFEST = re.compile(r"(tag)?manifest-([^/]+)\.txt")


@dataclass
class BagFiles:
    """What a bag's folder holds. digests: path from the bag's root -> algorithm -> checksum; sizes: in bytes.

    odd: (path, what it is) of what is no plain file. too_much: why it was not looked at to the end. litter: files that
    an operating system left and no manifest lists; they are in none of the others.
    """

    sizes: dict[str, int] = field(default_factory=dict)
    digests: dict[str, dict[str, str]] = field(default_factory=dict)
    odd: list[tuple[str, str]] = field(default_factory=list)
    litter: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    too_much: str | None = None

    def keep_only(self, paths: Iterable[str]) -> None:
        """Forget every file but these."""
        kept = set(paths)
        self.sizes = {path: size for path, size in self.sizes.items() if path in kept}
        self.digests = {path: sums for path, sums in self.digests.items() if path in kept}

    @property
    def payload(self) -> list[str]:
        """Paths of the payload's files."""
        return [path for path in self.sizes if path.startswith("data/")]


def bag_in(folder: Path) -> Path:
    """The bag's own folder: ``folder``, or one in it, however deep, as long as nothing but litter is beside each."""
    inside = folder
    for _ in range(_DEEPEST):
        if (inside / "bagit.txt").exists():
            return inside
        entries = [entry for entry in islice(os.scandir(inside), 1000) if not is_litter(entry.name)]
        if len(entries) != 1 or not entries[0].is_dir(follow_symlinks=False):
            break
        inside = Path(entries[0].path)
    return folder


def beside_the_bag(folder: Path, bag: Path) -> list[str]:
    """What lies beside the way from ``folder`` down to the bag in it."""
    found, inside = [], folder
    for part in bag.relative_to(folder).parts:
        found += [
            (inside / entry.name).relative_to(folder).as_posix() for entry in os.scandir(inside) if entry.name != part
        ]
        inside /= part
    return sorted(found)


def files_of(root: Path, quota: Quota) -> BagFiles:
    """Every plain file below ``root``, without checksums; ends early where there is more than ``quota`` allows."""
    found = BagFiles()
    count = total = 0
    for entry, status in _walk(root, found):
        count, total = count + 1, total + status.st_size * stat.S_ISREG(status.st_mode)
        if count > quota.most_files:
            found.too_much = f"it has more than {quota.most_files} files and folders"
        elif total > quota.most_bytes:
            found.too_much = f"its files are larger than {quota.most_mib:g} MiB together"
        if found.too_much:
            return found
        path = Path(entry.path).relative_to(root).as_posix()
        if stat.S_ISREG(status.st_mode):
            found.sizes[path] = status.st_size
        elif not stat.S_ISDIR(status.st_mode):
            found.odd.append((path, "a link" if stat.S_ISLNK(status.st_mode) else "neither file nor folder"))
    return found


def _walk(root: Path, found: BagFiles) -> Iterator[tuple[os.DirEntry[str], os.stat_result]]:
    folders = [root]
    while folders:
        current = folders.pop()
        try:
            entries = sorted(os.scandir(current), key=lambda e: e.name)
        except OSError as error:
            found.odd.append((current.relative_to(root).as_posix(), f"a folder that cannot be read ({error.strerror})"))
            continue
        for entry in entries:
            status = entry.stat(follow_symlinks=False)
            if stat.S_ISDIR(status.st_mode):
                folders.append(Path(entry.path))
            yield entry, status


def compute_digests(root: Path, found: BagFiles) -> None:
    """Checksums of every file: SHA-256, and what its manifests' names ask for, in one pass over the bytes."""
    named = {m.group(2).lower() for path in found.sizes if (m := MANIFEST.fullmatch(path))}
    algorithms = sorted(named & set(ALGORITHMS) | {"sha256"})
    for path in sorted(found.sizes):
        sums = {name: hashlib.new(name) for name in algorithms}
        try:
            with (root / path).open("rb") as stream:
                while block := stream.read(CHUNK):
                    for running in sums.values():
                        running.update(block)
        except OSError as error:
            found.odd.append((path, f"a file that cannot be read ({error.strerror})"))
            continue
        found.digests[path] = {name: running.hexdigest() for name, running in sums.items()}
