"""The depot's checks at the laboratory, before anything is sent: on a bag or a plain folder, keeping nothing.

Everything is done at a desk in a temporary folder by the stages a delivery goes through anyway, but that nothing is
published; so nothing is judged twice in two ways. What earlier deliveries brought is not known here: the books of that
desk are ``pipelines.depot.books.unwritten``, which need no database.

Exit codes, for scripts: 0 nothing must be mended, 1 something must be mended, 2 something given cannot be used, 3 a
fault of manystrides (a check crashed); they stand in ``pipelines.command.exit_codes``, too.
"""

from __future__ import annotations

import shutil
import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from pipelines.depot.arrivals import Arrival
from pipelines.depot.desk import Desk
from pipelines.depot.storage import Depot
from pipelines.errors import Unusable
from pipelines.identity.identifiers import kinds_in, masked, scan, surely_in_path
from pipelines.identity.names import KnownNames
from pipelines.identity.word_list import names_beside, names_in
from pipelines.intake.bag_files import bag_in
from pipelines.lab.check_text import MOST_SHOWN, by_trial, for_scripts, places_told, scrubbed
from pipelines.lab.scrub import info_of, scrub, write_bag
from pipelines.progress import Progress
from pipelines.study.anatomy import told_empty
from pipelines.study.drafts import refuse_unfinished
from pipelines.study.file import LoadedStudy, load_study
from pipelines.taking_in.gating import gate
from pipelines.taking_in.stages import Made, make, open_arrival
from pipelines.taking_in.summary import Done, Summary
from schemas.quality import FINDINGS
from schemas.reading import Identifying
from schemas.received import Received, plain_rows
from schemas.said import as_name

_RECORDINGS = (".c3d", ".edf")
#: Hundreds of files are not read for a delivery of which nothing can be used.
_NOT_LOOKED = "The recordings were not looked into. Correct what stops the delivery, and check it again."


@dataclass(frozen=True)
class LabChecked:
    """What to print, the same for scripts, and the exit code: 0 clean, 1 something to correct, 3 our own fault."""

    text: str
    plain: dict[str, Any]
    exit_code: int


@dataclass(frozen=True)
class _Asked:
    """What is to be done beside the check itself. path: the delivery as it was given; is_folder: it is no bag yet."""

    path: Path
    is_folder: bool
    known: KnownNames
    out: Path | None
    compare: bool
    report: Path | None
    progress: Progress


@dataclass(frozen=True)
class _File:
    path: Path
    name: str
    known: KnownNames


def check_at_the_lab(
    path: Path,
    study_path: Path,
    site: str | None = None,
    names: Path | None = None,
    out: Path | None = None,
    compare: bool = False,
    report: Path | None = None,
    progress: Progress | None = None,
) -> LabChecked:
    """Check the bag, ZIP file or plain folder at ``path``; ``out``: write a cleaned copy there.

    site: the laboratory, needed for a plain folder. names: a list of people to look for, besides that of the study.
    compare: read every C3D file with both readers, too. report: write the pages of the check into this new folder.
    Raises Unusable if something given cannot be used.
    """
    from pipelines.taking_in.opening import open_desk

    if compare and find_spec("ezc3d") is None:
        raise Unusable(
            "The second reader of C3D files, ezc3d, is not installed: a laboratory's installation has only our own.",
            "both readers.",
            'Install it (pip install "manystrides[second-reader]" from the same file), or leave out --compare-readers.',
        )
    if report is not None:
        _refuse_report(report, path)
    if not path.exists():
        raise Unusable("There is no such file or folder.", "a bag, a ZIP file or a folder.", "Correct it.", file=path)
    if out is not None and (out.exists() or out.resolve().is_relative_to(path.resolve())):
        raise Unusable(
            "The cleaned copy cannot be written there: it exists, or it lies inside the delivery.",
            "a new folder elsewhere.",
            "Name another with --scrub.",
            file=out,
        )
    study = load_study(study_path)
    refuse_unfinished(study.drafts, site, study.study.sites)
    known = names_in(names) if names is not None else names_beside(study_path)
    with tempfile.TemporaryDirectory(prefix="manystrides-check-") as folder:
        work = Path(folder)
        study = _beside_names(study, names, work)
        is_folder = path.is_dir() and not (bag_in(path) / "bagit.txt").exists()
        bag = _bagged(path, site, study, work) if is_folder else path
        depot = Depot(work / "depot", register=work / "register")
        asked = _Asked(path, is_folder, known, out, compare, report, progress or Progress())
        with depot.unwritten(), open_desk(depot, study, "laboratory check") as desk:
            return _checked(replace(desk, shows_texts=True), bag, site or "", asked)


def _refuse_report(report: Path, delivery: Path) -> None:
    from pipelines.pages.lab_report import refuse_existing

    refuse_existing(report)
    if delivery.is_dir() and report.resolve().is_relative_to(delivery.resolve()):
        raise Unusable(
            "The report would lie inside the delivery and be sent with it.",
            "a new folder elsewhere.",
            "Name another with --report.",
            file=report,
        )


def _beside_names(study: LoadedStudy, names: Path | None, work: Path) -> LoadedStudy:
    """The study as if it lay beside the given list of names, since its path only leads to that list."""
    if names is None:
        return study
    shutil.copyfile(names, work / "names.txt")
    return replace(study, path=work / study.path.name)


def _bagged(path: Path, site: str | None, study: LoadedStudy, work: Path) -> Path:
    """A plain folder as a bag: what ``manystrides pack`` would pack of it, so far as it is there."""
    from pipelines.intake.descriptor import write_descriptor
    from pipelines.lab.packing.finding import gather, lay_out

    if site is None and len(study.study.sites) > 1:
        raise Unusable(
            "The folder is no bag, so it does not say which site it is from.",
            "one of " + ", ".join(study.study.sites) + ".",
            "Give it with --site.",
            file=path,
        )
    bag = work / "bag" / "delivery"
    (bag / "data").mkdir(parents=True)
    lay_out(gather(path), bag / "data")
    site = site or next(iter(study.study.sites))
    write_descriptor(bag / "data", f"{site}-001", study.study.title)
    write_bag(bag, {"Delivery-Number": "1", "Site": site, "Study": study.study.title})
    return bag


def _checked(desk: Desk, bag: Path, site: str, asked: _Asked) -> LabChecked:
    from pipelines.intake.opening import open_delivery

    asked.progress.say("opening it: files, checksums, tables")
    with asked.progress.delivery("trials") as tell, desk.depot.working("receive") as work:
        made = make(desk, gate(desk, open_arrival(desk, Arrival(site, bag.name, bag), work)), tell)
    stopped = made.result.record.status == "stopped"
    inside = not stopped or asked.out is not None
    if inside:
        asked.progress.say("looking for texts that may identify a person")
    with desk.depot.working("look") as work:
        received, payload = open_delivery(desk.isolated, bag, site, work, desk.study.study, asked.known)
        files = _recordings(payload, asked.known)
        told = _identifying(desk, received, files if inside else [])
        lines = [
            *_summary(desk, made),
            *places_told(told),
            *([_NOT_LOOKED] if files and not inside else []),
            *_held(made),
            *told_empty(desk.study.study, received.site),
        ]
        differences = _compared(desk, files) if asked.compare else []
        lines += differences
        if asked.out is not None:
            if payload is None:
                raise Unusable("There is no payload to clean.", "a delivery that can be opened.", "Correct it first.")
            info = None if asked.is_folder else info_of(payload.parent)
            done = scrub(payload.parent, asked.out, asked.known, desk.isolated, info)
            lines += scrubbed(done, asked.out, asked.is_folder)
    summary, findings = _summary_of(desk, made), _findings(made)
    weights = {f["weight"] for f in findings}
    faulty = bool(stopped or told or differences or weights - {"notes"})
    if asked.report is not None:
        lines.append(f"Report: {_reported(desk, made, asked, told, differences[1:], not faulty)}")
    code = 3 if summary.crashed() else int(faulty)
    (came,) = summary.deliveries()
    plain = {**came, "findings": for_scripts(findings), "identifying": [asdict(one) for one in told]}
    return LabChecked("\n".join(lines), plain | {"differences": differences[1:], "exit_code": code}, code)


def _reported(
    desk: Desk, made: Made, asked: _Asked, told: list[Identifying], differences: list[str], clean: bool
) -> Path:
    """Write the report and return its first page."""
    from pipelines.pages.lab_report import LabNotes, write_lab_report

    assert asked.report is not None
    asked.progress.say("writing the report")
    name = masked(asked.path.resolve().name, surely_in_path(asked.path.resolve().name, asked.known))
    return write_lab_report(made.tables, desk.study, asked.report, LabNotes(name, clean, told, differences))


def _recordings(payload: Path | None, known: KnownNames) -> list[_File]:
    paths = sorted(payload.rglob("*")) if payload is not None else []
    assert payload is not None or not paths
    return [
        _File(p, p.relative_to(payload).as_posix(), known)
        for p in paths
        if payload is not None and p.is_file() and not p.is_symlink() and p.suffix.lower() in _RECORDINGS
    ]


def _identifying(desk: Desk, received: Received, files: list[_File]) -> list[Identifying]:
    """Where texts of the delivery and of its recordings may identify a person, with the names of the files."""
    found = list(received.identifying)
    for ended in desk.isolated.map(_inside, files):
        found += ended.value or ()
    return found


def _inside(file: _File) -> tuple[Identifying, ...]:
    from pipelines.identity.identifiers import masked, surely_in_path
    from pipelines.intake.identifying import identifying_in

    return identifying_in(file.path, masked(file.name, surely_in_path(file.name, file.known)), file.known)


def _compared(desk: Desk, files: list[_File]) -> list[str]:
    """Differences between the two readers of C3D files; those of ours are a fault of manystrides."""
    chosen = [f for f in files if f.name.lower().endswith(".c3d")]
    lines: list[str] = []
    for file, ended in zip(chosen, desk.isolated.map(_both_readers, chosen), strict=True):
        told = [ended.detail] if ended.problem is not None else ended.value
        lines += [f"  {file.name}: {difference}" for difference in told]
    if not lines:
        return []
    return ["The two readers of C3D files do not agree", *lines]


def _both_readers(file: _File) -> list[str]:
    from pipelines.intake.c3d.compare import compare_readers

    return list(compare_readers(file.path))


def _findings(made: Made) -> list[dict[str, Any]]:
    return plain_rows(made.tables[FINDINGS])


def _summary_of(desk: Desk, made: Made) -> Summary:
    return Summary(desk.depot, [Done(made.result.record, "new")], reasons=False, tables=made.tables)


def _summary(desk: Desk, made: Made) -> Iterator[str]:
    """The run's summary of this delivery, without what it says of the depot, and each trial with its remedies."""
    yield from _summary_of(desk, made).text().splitlines()
    findings = _findings(made)
    causes = [f for f in findings if f["consequence_of"] is None]
    yield from by_trial(findings)
    if follow := len(findings) - len(causes):
        yield f"Findings that follow from the above, with nothing to do about them: {follow}"
    notes = Counter(f["seen"] for f in causes if f["weight"] == "notes")
    if notes:
        yield "Notes, which keep nothing back"
        yield from (f"  {seen}{f' ({count} times)' if count > 1 else ''}" for seen, count in notes.most_common(8))
    if not findings:
        yield "Nothing to correct."


def _held(made: Made) -> Iterator[str]:
    """Texts that the depot keeps out until a person there has looked, and where; shown, since they are its own."""
    if held := made.held.waiting:
        texts = "text" if len(held) == 1 else "texts"
        yield f"{len(held)} {texts} will be kept out at the depot until a person there has looked; nothing need be done"
        for one in held[:MOST_SHOWN]:
            hints = ", ".join(kinds_in(scan(one.text)))
            more = f" and {len(one.places) - 1} more" if len(one.places) > 1 else ""
            yield f"  {as_name(one.text)}   ({one.places[0]}{more}{f'; {hints}' if hints else ''})"
