"""What lies in the inbox, and what the depot already knows about it.

An arrival is one name in ``inbox/<site>/``: a bag folder or a zip. A record says what became of a delivery. Neither is
opened here beyond its delivery number, which only decides the order; ``pipelines.intake.bag`` reads bags.
"""

from __future__ import annotations

import hashlib
import json
import re
import stat
import zipfile
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from checks.findings import Stamp
from pipelines.depot.storage import Depot, write_json
from pipelines.identity.identifiers import NOBODY, KnownNames, scan_path

RECORD = "record.json"
_NUMBER = re.compile(rb"(?im)^delivery-number\s*:\s*([0-9]{1,9})\s*$")
_FAR = 10**9


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

    def signature(self) -> str:
        """Changes when a file is added, removed or written again; reads no contents."""
        files = sorted(p for p in self.path.rglob("*") if p.is_file()) if self.path.is_dir() else [self.path]
        facts = [(p.relative_to(self.path).as_posix(), (s := p.stat()).st_size, s.st_mtime_ns) for p in files]
        return hashlib.sha256(repr(facts).encode()).hexdigest()


@dataclass(frozen=True)
class Record:
    """What became of one delivery. stored: payload path -> sha256; closed: those of the paths kept apart.

    waiting: session and condition of running trials for which no standing trial has come yet.
    result: a random word, new each time the delivery is judged, by which the ledger names this result.
    consents: what the gate rested on (``pipelines.depot.consents.digest``); empty if nothing was taken in.
    accepted: accepted trial -> digests of its parts; compared: those of earlier deliveries it was judged with; resends:
    trial in the place of another accepted version -> its word in the ledger (all three: see
    ``pipelines.taking_in.resends``).
    overrides: what a data manager decided on its trials (``pipelines.depot.overrides.digest``); empty if nothing.
    """

    delivery_id: str
    arrival: str
    status: str
    site: str | None
    number: int | None
    fingerprint: str
    received_utc: str
    code_version: str
    study_version: str
    result: str
    stored: dict[str, str] = field(default_factory=dict)
    closed: tuple[str, ...] = ()
    waiting: tuple[tuple[str, str], ...] = ()
    consents: str = ""
    accepted: dict[str, tuple[str, ...]] = field(default_factory=dict)
    compared: str = ""
    resends: dict[str, str] = field(default_factory=dict)
    overrides: str = ""

    @property
    def taken_in(self) -> bool:
        """Whether its trials were judged."""
        return self.status == "taken_in"

    @property
    def held(self) -> bool:
        """Whether the depot holds its bytes, so that it can be judged again without the inbox."""
        return bool(self.stored)

    def made_by(self, stamp: Stamp) -> bool:
        """Whether this code and study made it."""
        return (self.code_version, self.study_version) == (stamp.code_version, stamp.study_version)


@dataclass(frozen=True)
class Known:
    """What is known of a name in the inbox: the signature it had, and the delivery it became."""

    signature: str
    delivery_id: str


def find_arrivals(inbox: Path, known_names: KnownNames = NOBODY) -> tuple[list[Arrival], list[str]]:
    """Deliveries in ``inbox/<site>/`` in order of site and delivery number, and the names of what is none.

    known_names: names of people to look for in the names of deliveries.
    """
    found: list[Arrival] = []
    others: list[str] = []
    for site in _entries(inbox):
        if not site.is_dir():
            others.append(site.name)
            continue
        for path in _entries(site):
            is_bag = path.is_dir() and (path / "bagit.txt").exists()
            is_zip = path.is_file() and path.suffix.lower() == ".zip"
            if is_bag or is_zip:
                found.append(Arrival(site.name, _name(path, known_names), path))
            else:
                others.append(f"{site.name}/{_name(path, known_names)}")
    return sorted(found, key=lambda a: (a.site, _number(a.path), _natural(a.name))), others


def _name(path: Path, known_names: KnownNames) -> str:
    """What an arrival is called everywhere: its name, or if that may identify a person, a number the disk gave it."""
    if not scan_path(path.name, known_names):
        return path.name
    return f"name-kept-back-{path.lstat().st_ino}{path.suffix.lower() if path.suffix.lower() == '.zip' else ''}"


def write_record(folder: Path, record: Record) -> None:
    """Write ``record`` into a result folder."""
    write_json(folder / RECORD, asdict(record))
    (folder / RECORD).chmod(stat.S_IRUSR | stat.S_IWUSR)  # it names the files of withheld trials, too


def records(depot: Depot) -> dict[str, Record]:
    """Every delivery's record by delivery id, in order of site and number."""
    found = [_read(depot.delivery_path(name) / RECORD) for name in depot.delivery_ids()]
    ordered = sorted(found, key=lambda r: (r.site or "", r.number or _FAR, r.delivery_id))
    return {record.delivery_id: record for record in ordered}


def _read(path: Path) -> Record:
    content: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    waiting = tuple((session, condition) for session, condition in content["waiting"])
    return replace(Record(**content), closed=tuple(content["closed"]), waiting=waiting)


def note_known(depot: Depot, arrival: Arrival, signature: str, delivery_id: str) -> None:
    """Remember what a name in the inbox became."""
    write_json(_known_path(depot, arrival), {"signature": signature, "delivery_id": delivery_id})


def known(depot: Depot, arrival: Arrival) -> Known | None:
    """What is remembered of a name in the inbox."""
    path = _known_path(depot, arrival)
    return Known(**json.loads(path.read_text(encoding="utf-8"))) if path.exists() else None


def _known_path(depot: Depot, arrival: Arrival) -> Path:
    return depot.arrivals / arrival.site / f"{arrival.name}.json"


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
            with (path / "bag-info.txt").open("rb") as stream:
                text = stream.read(1 << 16)
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
