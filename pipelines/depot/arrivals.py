"""What lies in the inbox, and what it is called.

An arrival is one name in ``inbox/<site>/``: a bag folder or a zip. It is not opened here beyond its delivery number,
which only decides the order; ``pipelines.intake.bag`` reads bags, and the books know what became of it.
"""

from __future__ import annotations

import hashlib
import os
import re
import zipfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from pipelines.errors import Unusable
from pipelines.intake.bag_files import bag_in
from pipelines.intake.litter import is_litter

_NUMBER = re.compile(rb"(?im)^delivery-number\s*:\s*([0-9]{1,9})\s*$")
_FAR = 10**9
#: A folder of the inbox, which the data manager makes: a short name as sites of a study file have.
_SITE = re.compile(r"[a-z][a-z0-9_]{0,40}")
#: How the file beside a delivery ends that says that it is still being copied.
UPLOADING = ".uploading"


@dataclass(frozen=True)
class Names:
    """How names in the inbox are told: as they are, or by a word that stands for one, the same on every disk.

    shown: whether a name may be told, see ``pipelines.identity.word_list.names_shown``. word: hex digits that nobody
    can make of a name who has not the key of the books.
    """

    shown: Callable[[str], bool]
    word: Callable[[str], str]

    def of(self, path: Path) -> str:
        """What an arrival is called everywhere."""
        return path.name if self.shown(path.name) else self.kept_back(path)

    def kept_back(self, path: Path) -> str:
        """What stands for its name, even if that might be told."""
        ending = path.suffix.lower()
        return f"name-kept-back-{self.word(path.name)[:8]}{ending if ending == '.zip' else ''}"


@dataclass(frozen=True)
class Arrival:
    """One name in the inbox of one site."""

    site: str
    name: str
    path: Path

    @property
    def key(self) -> str:
        """``site/name``."""
        return f"{self.site}/{self.name}"

    def refuse_gone(self) -> None:
        """Raises Unusable if it lies in the inbox no more: nothing is told of a delivery that was taken back."""
        if not os.path.lexists(self.path):
            raise Unusable(
                "It is gone from the inbox since this run began.",
                "a delivery that stays there until a run has taken it in.",
                "Put it back, and run again. If it was taken back, nothing has to be done: nothing of it was taken in.",
                file=self.key,
            )

    def signature(self) -> str:
        """Changes when a file is added, removed or written again; reads no contents."""
        files = sorted(p for p in self.path.rglob("*") if p.is_file()) if self.path.is_dir() else [self.path]
        facts = [(p.relative_to(self.path).as_posix(), (s := p.stat()).st_size, s.st_mtime_ns) for p in files]
        return hashlib.sha256(repr(facts).encode()).hexdigest()

    def content(self) -> str | None:
        """Changes with the bytes, and not when the same are copied anew; None if it cannot be told."""
        digest = hashlib.sha256()
        try:
            files = sorted(self.path.rglob("*")) if self.path.is_dir() else [self.path]
            for file in files:
                if file.is_dir() and not file.is_symlink():
                    continue
                if file.is_symlink() or not file.is_file():
                    return None
                with file.open("rb") as stream:
                    sha = hashlib.file_digest(stream, "sha256").hexdigest()
                digest.update(f"{file.relative_to(self.path)}\0{sha}\n".encode(errors="backslashreplace"))
        except OSError:
            return None
        return digest.hexdigest()


def find_arrivals(inbox: Path, names: Names) -> tuple[list[Arrival], list[str]]:
    """Deliveries in ``inbox/<site>/`` in order of site and delivery number, and the names of what is none.

    names: how names in the inbox are told.
    """
    found, others = look_into(inbox, names)
    return in_order(found), others


def in_order(arrivals: Iterable[Arrival]) -> list[Arrival]:
    """By site and delivery number; each is opened for its number."""
    return sorted(arrivals, key=lambda a: (a.site, _number(a.path), _natural(a.name)))


def is_delivery(path: Path) -> bool:
    """Whether what lies in the folder of a site is a delivery: a bag, or a zip, of which nobody knows more unopened."""
    if path.is_dir():
        return (bag_in(path) / "bagit.txt").exists()
    return path.is_file() and path.suffix.lower() == ".zip"


def look_into(inbox: Path, names: Names) -> tuple[list[Arrival], list[str]]:
    """As ``find_arrivals``, in no order: none is opened."""
    found: list[Arrival] = []
    others: list[str] = []
    for site in _entries(inbox):
        if not site.is_dir():
            others.append(names.of(site))
            continue
        name = site.name if _SITE.fullmatch(site.name) else names.kept_back(site)
        for path in _entries(site):
            if is_litter(path.name) or path.suffix == UPLOADING:
                continue
            if is_delivery(path):
                found.append(Arrival(name, names.of(path), path))
            else:
                others.append(f"{name}/{names.of(path)}")
    return found, others


def path_of(inbox: Path, key: str, names: Names) -> Path:
    """Where what goes by ``key`` lies, under its name or another word for it; where it would lie if it is gone."""
    place = inbox
    for part in key.split("/"):
        named = place / part
        place = named if named.exists() else next((p for p in _entries(place) if names.kept_back(p) == part), named)
    return place


def slug(name: str) -> str:
    """``name`` as part of an identifier; a short hash keeps two names apart that would look the same."""
    plain = re.sub(r"[^A-Za-z0-9_]+", "-", name).strip("-_")
    if plain == name and len(plain) <= 40:
        return plain
    return f"{plain[:40]}-{short_hash(name)}".lstrip("-")


def short_hash(name: str) -> str:
    """6 hex digits that tell two names apart."""
    return hashlib.sha256(name.encode()).hexdigest()[:6]


def _entries(folder: Path) -> list[Path]:
    return sorted(p for p in folder.iterdir() if not p.name.startswith(".")) if folder.is_dir() else []


def _number(path: Path) -> int:
    """The delivery number the bag states, without checking anything; a large number if it cannot be seen."""
    try:
        if path.is_dir():
            info = bag_in(path) / "bag-info.txt"
            text = info.read_bytes()[: 1 << 16] if info.is_file() else b""  # a pipe would be waited for
        else:
            with zipfile.ZipFile(path) as archive:
                name = next(n for n in archive.namelist() if n.rpartition("/")[2] == "bag-info.txt")
                with archive.open(name) as member:
                    text = member.read(1 << 16)
    except Exception:  # a damaged archive is a finding later; here it only comes last
        return _FAR
    found = _NUMBER.search(text)
    return int(found[1]) if found else _FAR


def _natural(name: str) -> list[tuple[int, str]]:
    return [(int(part), "") if part.isdigit() else (_FAR, part) for part in re.split(r"(\d+)", name)]
