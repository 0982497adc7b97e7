"""Opens a delivery, folder or ZIP file, and tells what came: files, tables, what the bag says of itself, problems.

Nothing is judged here and nothing is taken in; ``checks.delivery.bag`` and ``checks.delivery.tables`` turn problems
into findings.

Fields of bag-info.txt: ``Site`` (as in the study file), ``Study`` (the study file's title), ``Delivery-Number`` (1, 2,
3, ... within the site), ``Contact-Role`` (for example "data manager"). Names, addresses and numbers of people are not
wanted: ``Contact-Name``, ``Contact-Email`` and ``Contact-Phone`` are dropped on reading.
"""

from __future__ import annotations

import hashlib
import re
import zipfile
from collections import Counter
from collections.abc import Iterable, Iterator
from itertools import islice
from pathlib import Path

from pipelines.identity.file_names import OWN_TAG_FILES
from pipelines.identity.guard import guarded
from pipelines.identity.identifiers import NOBODY
from pipelines.identity.names import KnownNames
from pipelines.identity.vocabulary import Vocabulary
from pipelines.intake.archive import unpack
from pipelines.intake.bag_files import BagFiles, bag_in, beside_the_bag
from pipelines.intake.descriptor import descriptor_problems
from pipelines.intake.examine import examine
from pipelines.intake.litter import passed_over
from pipelines.intake.tables import no_tables, read_tables
from pipelines.intake.torn_consents import torn_consents
from schemas.quota import Quota
from schemas.received import ConsentEvent, PayloadFile, Problem, ProblemKind, Received
from schemas.said import said
from schemas.study import Study

SITE, STUDY, NUMBER = "Site", "Study", "Delivery-Number"
_ABOUT_PEOPLE = ("contact-name", "contact-email", "contact-phone")
_MOST_INFO_BYTES = 1 << 16
_MOST_ALIKE = 200  # problems of one kind that are told one by one
_MOST_LISTED = 20_000  # names of a folder that could not be opened


def receive(
    path: Path, inbox_site: str, work_dir: Path, study: Study, known: KnownNames = NOBODY
) -> tuple[Received, Path | None]:
    """Open the delivery at ``path``; a ZIP file is unpacked into ``work_dir``.

    inbox_site: the site whose inbox folder it lay in; "" if it lay in none, as when a lab tries its own bag. Returns
    the delivery and its payload folder, None if there is none that can be read. Texts that may identify a person are
    taken out of the delivery; ``known`` names are found for certain. Never raises on what a sender made. What is read
    is bounded by ``study.delivery``; limits of time and memory are its caller's.
    """
    quota = study.delivery
    root, problems, litter = _bag_root(path, work_dir, quota)
    found = examine(root, quota) if root is not None else None
    if root is None or found is None or found.too_much:
        every = [*problems, *(found.problems if found else ())]
        return guarded(unopened(path, inbox_site, _summed_up(every)), None, known, quota, Vocabulary.of(study)), None
    litter += found.litter
    problems += [passed_over(litter)] if litter else []
    problems += _not_kept(found)
    info, info_problems = _bag_info(root, found)
    if info or not info_problems:  # of a bag-info.txt that is missing everything is
        info_problems += _site_problems(info, inbox_site, study)
    files = tuple(_payload_files(found))
    payload = root / "data"
    tables = no_tables()
    table_problems: list[Problem] = []
    torn: tuple[ConsentEvent, ...] = ()
    if readable := payload.is_dir() and not payload.is_symlink():
        tables, table_problems, consents = read_tables(payload, study.consent_forms)
        table_problems += descriptor_problems(payload)
        torn = torn_consents(consents)
    site, number = _sent_as(info, inbox_site, study)
    received = Received(
        arrived_as=path.name,
        inbox_site=inbox_site,
        site=site,
        number=number,
        bag_info=info,
        files=files,
        tables=tables,
        problems=(*problems, *_summed_up(found.problems), *info_problems, *table_problems),
        torn_consents=torn,
        fingerprint=_fingerprint(files) if files else _fingerprint_of_bag(found),
    )
    return guarded(received, root, known, quota, Vocabulary.of(study)), payload if readable else None


def _not_kept(found: BagFiles) -> Iterator[Problem]:
    """One note for the files round the payload that are none of BagIt's own; they are not kept."""
    others = [
        path for path in sorted(found.sizes) if not path.startswith("data/") and not OWN_TAG_FILES.fullmatch(path)
    ]
    if others and "fetch.txt" not in others:
        files = "1 file lies" if len(others) == 1 else f"{len(others)} files lie"
        which = "it is" if len(others) == 1 else "the first by name is"
        first = f"{which} {said(others[0])} of {_size(found.sizes[others[0]])}"
        seen = f"{files} in the bag beside its payload; {first}; what lies there is not kept"
        yield Problem("beside", seen, "files of the delivery in the folder data, named in a table")


def _size(count: int) -> str:
    """Bytes of a file, for people."""
    return f"{count} bytes" if count < 1000 else f"{count / 1e3:.0f} kB" if count < 1e6 else f"{count / 1e6:.0f} MB"


def refused(path: Path, inbox_site: str, seen: str, expected: str, study: Study, known: KnownNames) -> Received:
    """A delivery that is not opened, for a reason that no rule of its bag tells."""
    problem = Problem("archive", seen, expected, said(path.name))
    return guarded(unopened(path, inbox_site, [problem]), None, known, study.delivery, Vocabulary.of(study))


def unopened(path: Path, inbox_site: str, problems: Iterable[Problem]) -> Received:
    """A delivery of which nothing could be read but that it is there."""
    return Received(
        path.name, inbox_site, None, None, {}, (), no_tables(), tuple(problems), _fingerprint_of_unopened(path)
    )


def _summed_up(problems: Iterable[Problem]) -> Iterator[Problem]:
    """Of problems that ask for the same thing the first ``_MOST_ALIKE``, and one that counts the rest.

    Nobody reads twenty thousand findings, and a delivery made to be slow would have every one searched for names.
    """
    counts: Counter[tuple[ProblemKind, str]] = Counter()
    for problem in problems:
        counts[problem.kind, problem.expected] += 1
        if counts[problem.kind, problem.expected] <= _MOST_ALIKE:
            yield problem
    for (kind, expected), count in counts.items():
        if count > _MOST_ALIKE:
            yield Problem(kind, f"the same holds at {count - _MOST_ALIKE} more places", expected)


def _bag_root(path: Path, work_dir: Path, quota: Quota) -> tuple[Path | None, list[Problem], list[str]]:
    """The bag's folder, problems and notes, and litter that was left beside it."""
    litter: list[str] = []
    if path.is_symlink():
        return None, [_archive_problem(path, "it is a link")], litter
    folder = path
    if not path.is_dir():
        if not path.is_file():
            return None, [_archive_problem(path, "it is neither a folder nor a file")], litter
        if path.suffix.lower() != ".zip" and not zipfile.is_zipfile(path):
            return None, [_archive_problem(path, "it is neither a folder nor a ZIP file")], litter
        problems, litter = unpack(path, work_dir / "unpacked", quota)
        if problems:
            return None, problems, litter
        folder = next((work_dir / "unpacked").iterdir())
    root = bag_in(folder)
    if root == folder:
        return root, [], litter
    inside = root.relative_to(folder)
    deeper = "one folder" if len(inside.parts) == 1 else f"{len(inside.parts)} folders"
    seen = f"the bag lies {deeper} deeper than it should, in {said(inside.as_posix())}"
    return root, [Problem("beside", seen, "the bag's own folder at the top")], litter + beside_the_bag(folder, root)


def _archive_problem(path: Path, seen: str) -> Problem:
    return Problem("archive", seen, "a bag: a folder, or a ZIP file of one", said(path.name))


def _bag_info(root: Path, found: BagFiles) -> tuple[dict[str, str], list[Problem]]:
    """The fields of bag-info.txt; ours by our spelling, whatever the case in the file."""
    name = "bag-info.txt"
    if name not in found.digests:
        return {}, [_info_problem(f"{name} is missing", f"{name} with {SITE}, {STUDY} and {NUMBER}")]
    if found.sizes[name] > _MOST_INFO_BYTES:
        return {}, [_info_problem(f"{name} is larger than {_MOST_INFO_BYTES} bytes", "a few lines")]
    try:
        text = (root / name).read_bytes().decode("utf-8-sig")
    except (UnicodeDecodeError, OSError):
        return {}, [_info_problem(f"{name} is not UTF-8", "UTF-8 text")]
    ours = {field.lower(): field for field in (SITE, STUDY, NUMBER)}
    info: dict[str, str] = {}
    problems = []
    for label, value in _info_lines(text):
        field = ours.get(label.lower(), label)
        if label.lower() in _ABOUT_PEOPLE:
            continue
        if field in info and field in ours.values():
            problems.append(_info_problem(f"{field} stands twice", f"{field} once"))
        info[field] = value
    return info, problems


def _info_lines(text: str) -> Iterator[tuple[str, str]]:
    """Label and value; a line that begins with a space or tab continues the one before."""
    label, value = "", ""
    for line in re.split(r"\r\n|\n|\r", text):
        if line[:1] in (" ", "\t") and label:
            value += " " + line.strip()
            continue
        if label:
            yield label, value
        label, _, value = (part.strip() for part in line.partition(":"))
    if label:
        yield label, value


def _site_problems(info: dict[str, str], inbox_site: str, study: Study) -> Iterator[Problem]:
    """What the bag says of itself against the study file and the inbox folder it lay in."""
    site, number, title = info.get(SITE, ""), info.get(NUMBER, ""), info.get(STUDY, "")
    known = "one of " + ", ".join(study.sites)
    if not site:
        yield _info_problem(f"{SITE} is missing", known, SITE)
    elif site not in study.sites:
        yield _info_problem(f"{SITE} is {said(site)}, which the study does not know", known, SITE)
    elif inbox_site and site != inbox_site:  # both sites are told, neither of the other
        seen = f"{SITE} names another site than the one in whose inbox the bag lay"
        yield _info_problem(seen, "the site in whose inbox it lies", SITE)
    if not title:
        yield _info_problem(f"{STUDY} is missing", study.title, STUDY)
    elif title.split() != study.title.split():
        yield _info_problem(f"{STUDY} is {said(title)}", study.title, STUDY)
    expected = "a whole number from 1, one higher with each delivery of the site"
    if not number:
        yield _info_problem(f"{NUMBER} is missing", expected, NUMBER)
    elif not _is_number(number):
        yield _info_problem(f"{NUMBER} is {said(number)}", expected, NUMBER)


def _sent_as(info: dict[str, str], inbox_site: str, study: Study) -> tuple[str | None, int | None]:
    """Whose delivery it is, and which; of one that lay in the inbox of another laboratory than it names, the inbox's.

    The other laboratory's numbers are not for it to use. What is wrong with it is told to both.
    """
    site, number = info.get(SITE, ""), info.get(NUMBER, "")
    if inbox_site and site in study.sites and site != inbox_site:
        return inbox_site if inbox_site in study.sites else None, None
    return site if site in study.sites else None, int(number) if _is_number(number) else None


def _is_number(text: str) -> bool:
    return re.fullmatch(r"[0-9]{1,6}", text) is not None and int(text) >= 1


def _info_problem(seen: str, expected: str, place: str | None = None) -> Problem:
    return Problem("bag_info", seen, expected, "bag-info.txt", place)


def _payload_files(found: BagFiles) -> Iterator[PayloadFile]:
    for path in sorted(found.digests):
        if path.startswith("data/"):
            yield PayloadFile(path.removeprefix("data/"), found.sizes[path], found.digests[path]["sha256"])


def _fingerprint(files: Iterable[PayloadFile]) -> str:
    """SHA-256 over the sorted lines "sha256 path": equal for equal content, however it was packed."""
    lines = sorted(f"{f.sha256} {f.path}\n" for f in files)
    return hashlib.sha256("".join(lines).encode()).hexdigest()


def _fingerprint_of_bag(found: BagFiles) -> str:
    """For a bag without payload: over its other files, so that two such bags are not taken for one."""
    return _fingerprint(PayloadFile(f"../{p}", found.sizes[p], d["sha256"]) for p, d in found.digests.items())


def _fingerprint_of_unopened(path: Path) -> str:
    """For what could not be opened: a file's bytes, a folder's list of files, or if neither can be read, the name."""
    digest = hashlib.sha256()
    try:
        if path.is_symlink() or not (path.is_file() or path.is_dir()):
            raise OSError
        if path.is_dir():
            for file in sorted(islice((p for p in path.rglob("*") if not p.is_dir()), _MOST_LISTED)):
                status = file.lstat()
                line = f"{file.relative_to(path)} {status.st_size} {status.st_mtime_ns}\n"
                digest.update(line.encode(errors="backslashreplace"))
            return digest.hexdigest()
        with path.open("rb") as stream:
            while block := stream.read(1 << 20):
                digest.update(block)
    except OSError:
        digest.update(path.name.encode(errors="backslashreplace"))
    return digest.hexdigest()
