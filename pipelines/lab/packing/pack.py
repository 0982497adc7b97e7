"""Packs a laboratory's working folder as a delivery: a BagIt bag, as a folder or a ZIP file, whole or not at all.

The folder is only read. What is packed is what ``pipelines.lab.packing.finding`` gathers; before it gets its name it is
opened by the depot's own reader, so that a delivery which could not be taken in, or tells who was measured, is never
made. Whether the trials are good is for ``manystrides check`` to say.
"""

from __future__ import annotations

import shutil
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pipelines.depot.new_files import part_beside, put_in_place, refuse_place
from pipelines.errors import Unusable
from pipelines.identity import identifiers
from pipelines.identity.names import KnownNames
from pipelines.identity.word_list import names_beside
from pipelines.intake.bag_files import bag_in
from pipelines.intake.descriptor import write_descriptor
from pipelines.intake.paths import path_fault, shown
from pipelines.intake.tables import read_tables
from pipelines.judging.packed_with import stamped
from pipelines.lab.packing.asking import About, completed
from pipelines.lab.packing.finding import Gathered, gather, lay_out
from pipelines.lab.scrub import info_of, write_bag
from pipelines.pages.words import counted, size_words
from pipelines.progress import Progress
from pipelines.questions import Ask
from pipelines.study.drafts import refuse_unfinished
from pipelines.study.file import LoadedStudy, load_study
from pipelines.workers.isolation import Isolated
from schemas.catalogue import tables_of
from schemas.model import Layer
from schemas.reading import Identifying
from schemas.received import Problem
from schemas.said import quoted, told

#: kinds of problem with which a delivery cannot be used at all; those of single cells are for ``check``
_STOPPING = ("archive", "bag", "bag_info", "descriptor", "table", "column")
_MOST_SHOWN = 20
ROLE = "Contact-Role"
_NO_DATE = (1980, 1, 1, 0, 0, 0)  # the earliest a ZIP file can hold: when it was packed is nobody's business
_RECORDINGS = (".c3d", ".edf")


@dataclass(frozen=True)
class Packed:
    """What was made. text: for people."""

    path: Path
    text: str


def pack(
    folder: Path,
    to: Path,
    study_path: Path,
    *,
    site: str | None = None,
    number: str | None = None,
    contact_role: str | None = None,
    include: bool = False,
    ask: Ask | None = None,
    progress: Progress | None = None,
) -> Packed:
    """Make the bag ``to`` (a ZIP file if its name ends in .zip) from ``folder``: a working folder, or a bag, whose
    payload is then packed anew, by its own site and role if no other is given, with a number that must be.

    include: also pack files that no table names. ask: asks a person for what is missing; None where there is nobody.
    Raises Unusable, and leaves nothing behind, for anything a laboratory can mend.
    """
    progress = progress or Progress()
    _refuse_places(folder, to)
    study = load_study(study_path)
    known = names_beside(study_path)
    if (bag_in(folder) / "bagit.txt").exists():
        info = info_of(bag_in(folder))
        folder, site, contact_role = bag_in(folder) / "data", site or info.get("Site"), contact_role or info.get(ROLE)
    refuse_unfinished(study.drafts, site, study.study.sites)
    about = completed(study.study, known, site, number, contact_role, ask)
    progress.say("looking through the folder")
    gathered = gather(folder)
    if include:
        _include(folder, gathered)
    with part_beside(to) as work:
        bag = work / (to.stem if _is_zip(to) else to.name)
        _write_tables(bag / "data", gathered, known)
        progress.say(f"copying {counted(len(gathered.files), 'file')}")
        warnings = _write_rest(bag, gathered, study, about, known)
        made = _zipped(bag, work / "packed.zip") if _is_zip(to) else bag
        size = sum(p.stat().st_size for p in gathered.files.values())
        put_in_place(made, to)
    return Packed(to, "\n".join(_told(to, study_path, about, gathered, size, warnings, known)))


def _is_zip(to: Path) -> bool:
    return to.suffix.lower() == ".zip"


def _refuse_places(folder: Path, to: Path) -> None:
    if not folder.is_dir() or folder.is_symlink():
        raise Unusable(
            "There is no such folder.", "the folder with your tables and trial files.", "Correct it.", file=folder
        )
    refuse_place(to)
    if to.resolve().is_relative_to(folder.resolve()):
        raise Unusable(
            "It lies inside the working folder, which is not changed.", "a place elsewhere.", "Name another.", file=to
        )


def _include(folder: Path, gathered: Gathered) -> None:
    """Add what no table names, at its own place."""
    for path in gathered.left_out:
        if fault := path_fault(path):
            gathered.faults.append(f"The path {shown(path)} {fault}. Rename it, or leave it out.")
        elif path in gathered.files:
            gathered.faults.append(f"{shown(path)} has the place of a file that a table names. Move one of them.")
        else:
            gathered.files[path] = folder / path
    gathered.left_out = []


def _write_tables(payload: Path, gathered: Gathered, known: KnownNames) -> None:
    """Copy the tables and look at their shape first: trial files are large, and faults of tables common."""
    payload.mkdir(parents=True)
    for name, source in gathered.files.items():
        if name.endswith(".csv") and "/" not in name:
            shutil.copyfile(source, payload / name)
    problems = read_tables(payload).problems
    missing = "is missing"  # said by gathering already, with what the table is
    ours = [p for p in problems if p.kind in ("table", "column") and not (p.kind == "table" and missing in p.seen)]
    faults = [*gathered.faults, *(_sentence(p) for p in ours)]
    _refuse([identifiers.masked(f, identifiers.scan_name(f, known)) for f in faults])


def _sentence(problem: Problem) -> str:
    problem = told(problem, quoted)  # a laboratory sees its own words
    where = ", ".join(part for part in (problem.file, problem.place) if part)
    return f"{where}: {problem.seen}. Expected: {problem.expected}."


def _refuse(faults: list[str]) -> None:
    if not faults:
        return
    lines = [f"  - {fault}" for fault in faults[:_MOST_SHOWN]]
    if len(faults) > _MOST_SHOWN:
        lines.append(f"  and {len(faults) - _MOST_SHOWN} more")
    listed = "\n".join(lines)
    raise Unusable(
        f"Nothing was packed, because of {counted(len(faults), 'fault')}:\n{listed}\n",
        "tables and files that can be used.",
        "Correct each in the working folder, then pack again.",
    )


def _write_rest(bag: Path, gathered: Gathered, study: LoadedStudy, about: About, known: KnownNames) -> list[str]:
    """Copy the other files, make the bag, and open it as the depot would. Returns what is to be looked at."""
    payload = bag / "data"
    lay_out(gathered, payload)
    delivery = f"{about.site}-{about.number:03d}"
    write_descriptor(payload, delivery, f"{study.study.title}: {delivery}")
    info = {
        ROLE: about.contact_role,
        "Delivery-Number": str(about.number),
        "Site": about.site,
        "Study": " ".join(study.study.title.split()),
    }
    write_bag(bag, info | stamped(study, about.site) | ({"Invented": "yes"} if study.study.invented else {}))
    return _opened(bag, about, study, known)


def _opened(bag: Path, about: About, study: LoadedStudy, known: KnownNames) -> list[str]:
    """Open the new bag with the depot's reader; refuse what it would stop, and what may identify a person."""
    from pipelines.intake.opening import open_delivery

    settings = study.study
    with Isolated(2, settings.trial_time_limit_s, settings.trial_memory_limit_mb) as isolated:
        received, payload = open_delivery(isolated, bag, about.site, bag.parent / "open", settings, known)
        _refuse([_sentence(p) for p in received.problems if p.kind in _STOPPING])
        assert payload is not None
        telling = [*received.identifying, *_inside_recordings(payload, isolated, known)]
    places = [", ".join(part for part in (one.file, one.place) if part) + f": {one.kind}" for one in telling]
    if places:
        listed = "\n".join(f"  - {place}" for place in places[:_MOST_SHOWN])
        more = f"\n  and {len(places) - _MOST_SHOWN} more" if len(places) > _MOST_SHOWN else ""
        raise Unusable(
            f"Nothing was packed, because {counted(len(places), 'text')} may identify a person:\n{listed}{more}\n",
            "no names, dates or numbers of people, in no table, file name or file text.",
            "Correct them in the working folder, or let manystrides check FOLDER --scrub NEW_FOLDER write a copy "
            "without.",
        )
    return [_sentence(p) for p in received.problems if p.kind not in _STOPPING]


def _inside_recordings(payload: Path, isolated: Isolated, known: KnownNames) -> list[Identifying]:
    jobs = [
        (path, _plain(path.relative_to(payload).as_posix(), known), known)
        for path in sorted(payload.rglob("*"))
        if path.suffix.lower() in _RECORDINGS
    ]
    return [one for ended in isolated.map(_identifying, jobs) for one in ended.value or ()]


def _identifying(job: tuple[Path, str, KnownNames]) -> tuple[Identifying, ...]:
    from pipelines.intake.identifying import identifying_in

    return identifying_in(*job)


def _plain(path: str, known: KnownNames) -> str:
    """A path as it may be shown: without what identifies somebody."""
    return identifiers.masked(path, identifiers.surely_in_path(path, known))


def _zipped(bag: Path, target: Path) -> Path:
    """The bag as a ZIP file with the bag's folder at its top, without dates."""
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in sorted(p for p in bag.rglob("*") if p.is_file()):
            member = zipfile.ZipInfo(path.relative_to(bag.parent).as_posix(), _NO_DATE)
            member.compress_type = zipfile.ZIP_DEFLATED
            member.external_attr = 0o644 << 16
            member.create_system = 3
            member.file_size = path.stat().st_size  # tells the writer beforehand whether 32 bits are enough
            with path.open("rb") as source, archive.open(member, "w") as sink:
                shutil.copyfileobj(source, sink, 1 << 20)
    return target


def _told(
    to: Path, study: Path, about: About, gathered: Gathered, size: int, warnings: list[str], known: KnownNames
) -> Iterator[str]:
    tables = len({str(t.file_name) for t in tables_of(Layer.DELIVERY)} & gathered.files.keys())
    others = len(gathered.files) - tables
    yield (
        f"Packed: delivery {about.number} of {about.site}, {counted(tables, 'table')}, "
        f"{counted(others, 'other file')}, {size_words(size)}, in {to}"
    )
    if gathered.moved:
        name, source = next(iter(gathered.moved.items()))
        yield (
            f"{counted(len(gathered.moved), 'file')} lay elsewhere in the folder; in the delivery they are where the "
            f"tables say, for example {_plain(source, known)} as {name}"
        )
    if gathered.left_out:
        yield f"Left out, since no table names {'it' if len(gathered.left_out) == 1 else 'them'} (--include packs all)"
        yield from _listed([_plain(path, known) for path in gathered.left_out])
    if warnings:
        yield "Packed as they are, but the depot's checks will find them"
        yield from _listed(warnings)
    yield f"Now check what you send: manystrides check {to} --study {study}"


def _listed(lines: list[str]) -> Iterator[str]:
    yield from (f"  {line}" for line in lines[:_MOST_SHOWN])
    if len(lines) > _MOST_SHOWN:
        yield f"  and {len(lines) - _MOST_SHOWN} more"
