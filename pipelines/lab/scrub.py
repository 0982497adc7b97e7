"""Writes a cleaned copy of a delivery for the laboratory: identifying texts blanked, measured values untouched.

What was cleaned is read again beside the original, value by value; a copy that differs in a value is never kept. What
cannot be cleaned without the laboratory, such as a runner's id, is left and listed.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
import shutil
from dataclasses import dataclass, field
from pathlib import Path

from pipelines.depot.new_files import part_beside, put_in_place, refuse_place
from pipelines.errors import Unusable
from pipelines.identity import identifiers
from pipelines.identity.contents import IDS, text_of
from pipelines.identity.edf_texts import is_edf
from pipelines.identity.names import KnownNames
from pipelines.identity.texts import Text
from pipelines.intake.descriptor import NAME as DESCRIPTOR
from pipelines.intake.identifying import texts_of_file
from pipelines.workers.isolation import Isolated
from schemas.catalogue import tables_of
from schemas.kept import is_table
from schemas.model import Layer

_RECORDINGS = (".c3d", ".edf")
_BAG_FIELDS = ("Contact-Role", "Delivery-Number", "Invented", "Site", "Study")


@dataclass
class Scrubbed:
    """What was done. cleaned: file -> how many texts; by_hand: what the laboratory must mend.

    left_out: files that may tell of somebody; unkept: of a kind that no depot keeps.
    """

    cleaned: dict[str, int] = field(default_factory=dict)
    left_out: list[str] = field(default_factory=list)
    unkept: list[str] = field(default_factory=list)
    by_hand: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class _Job:
    source: Path
    target: Path
    known: KnownNames


def scrub(root: Path, out: Path, known: KnownNames, isolated: Isolated, info: dict[str, str] | None) -> Scrubbed:
    """Clean the delivery whose payload is ``root``/data into the new folder ``out``.

    info: fields of bag-info.txt of the bag that is made, so that it keeps number and role; None: a working folder is
    made, of tables and recordings only, to be packed. Raises Unusable if ``out`` exists, or if a value would change;
    then nothing is left.
    """
    refuse_place(out)
    done = Scrubbed()
    with part_beside(out) as work:
        (work / "data").mkdir(parents=True)
        _payload(root / "data", work / "data", known, isolated, done)
        if info is None:
            (work / "data" / DESCRIPTOR).unlink(missing_ok=True)
        else:
            write_bag(work, _clean_info(info, known, done))
        put_in_place(work / "data" if info is None else work, out)
    return done


def write_bag(root: Path, info: dict[str, str]) -> None:
    """Write the bag files round ``root``/data (BagIt, RFC 8493)."""
    payload = sorted(p for p in (root / "data").rglob("*") if p.is_file())
    total = sum(p.stat().st_size for p in payload)
    fields = {**info, "Payload-Oxum": f"{total}.{len(payload)}"}
    (root / "bagit.txt").write_text("BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n", encoding="utf-8")
    (root / "bag-info.txt").write_text("".join(f"{k}: {v}\n" for k, v in sorted(fields.items())), encoding="utf-8")
    _manifest(root / "manifest-sha256.txt", payload)
    tags = [root / name for name in ("bagit.txt", "bag-info.txt", "manifest-sha256.txt")]
    _manifest(root / "tagmanifest-sha256.txt", tags)


def _manifest(path: Path, files: list[Path]) -> None:
    lines = []
    for file in files:
        name = file.relative_to(path.parent).as_posix().replace("%", "%25").replace("\n", "%0A").replace("\r", "%0D")
        with file.open("rb") as stream:
            lines.append(f"{hashlib.file_digest(stream, 'sha256').hexdigest()}  {name}\n")
    path.write_text("".join(lines), encoding="utf-8")


def _clean_info(info: dict[str, str], known: KnownNames, done: Scrubbed) -> dict[str, str]:
    kept = {
        k: v
        for k, v in info.items()
        if k in _BAG_FIELDS and (k in ("Study", "Delivery-Number") or not identifiers.surely(v, k, known))
    }
    if len(kept) < sum(k not in ("Payload-Oxum", "Bagging-Date", "Bag-Software-Agent") for k in info):
        done.cleaned["bag-info.txt"] = len(info) - len(kept)
    return kept


def _payload(source: Path, target: Path, known: KnownNames, isolated: Isolated, done: Scrubbed) -> None:
    paths = sorted(p for p in source.rglob("*") if p.is_file() and not p.is_symlink())
    every, named = {p.relative_to(source).as_posix(): p for p in paths}, _named_in_tables(source)
    names = {name: path for name, path in every.items() if _is_kept(name, named)}
    done.unkept += [_plain_name(n, 0) if _telling(n, known) else n for n in every if n not in names]
    renamed = {n: _plain_name(n, i) for i, n in enumerate(names, start=1) if _telling(n, known)}
    for name, path in names.items():
        place = target / renamed.get(name, name)
        place.parent.mkdir(parents=True, exist_ok=True)
        shown = renamed.get(name, name)
        if name in renamed:
            done.cleaned[shown] = done.cleaned.get(shown, 0) + 1
        if name.lower().endswith(_RECORDINGS):
            ended = isolated.run(_clean_recording, _Job(path, place, known))
            if ended.problem is not None:
                raise Unusable(
                    f"The file could not be cleaned: {ended.detail}.",
                    "a recording whose values stay the same when its texts are blanked.",
                    "Export it again at the site without names.",
                    file=Path(shown),
                )
            done.cleaned[shown] = done.cleaned.get(shown, 0) + int(ended.value)
        elif name.lower().endswith(".csv"):
            _clean_table(path, place, renamed, known, done, shown)
        elif _tells(path, name, known):
            done.left_out.append(shown)
        else:
            shutil.copyfile(path, place)
    done.cleaned = {name: count for name, count in done.cleaned.items() if count}


def _is_kept(name: str, named: set[str]) -> bool:
    """Whether the depot keeps such a file: what it does not keep need not travel."""
    return is_table(name) or name == DESCRIPTOR or name.lower().endswith(_RECORDINGS) or name in named


def _named_in_tables(source: Path) -> set[str]:
    """Paths of files that a table names, whatever they end in."""
    found: set[str] = set()
    for table in (t for t in tables_of(Layer.DELIVERY) if t.file_columns):
        path = source / str(table.file_name)
        text = text_of(path.read_bytes()) if path.is_file() else None
        for row in csv.DictReader(io.StringIO(text or "")):
            found |= {(row.get(column) or "").strip() for column in table.file_columns}
    return found


def _telling(name: str, known: KnownNames) -> bool:
    return bool(identifiers.surely_in_path(name, known))


def _plain_name(name: str, number: int) -> str:
    suffix = Path(name).suffix.lower()
    return f"trials/file-{number:04d}{suffix}" if suffix in _RECORDINGS else f"file-{number:04d}{suffix}"


def _tells(path: Path, name: str, known: KnownNames) -> bool:
    """Whether a file that is neither table nor recording may identify somebody, or cannot be looked into."""
    from pipelines.identity.contents import tells

    return path.stat().st_size > 16 << 20 or tells(path.read_bytes(), name, known)


def _clean_table(
    path: Path, place: Path, renamed: dict[str, str], known: KnownNames, done: Scrubbed, shown: str
) -> None:
    """Blank free text; new names of files where they are named. Other lines stay as they were."""
    text = text_of(path.read_bytes())
    if text is None:
        done.left_out.append(shown)
        return
    rows = list(csv.reader(io.StringIO(text)))
    header = [cell.strip() for cell in rows[0]] if rows else []
    for i, cell in enumerate(header, start=1):
        if identifiers.scan_name(cell, known):
            done.by_hand.append(f"{shown}, header, column {i}: rename the column")
    changed = 0
    for number, row in enumerate(rows[1:], start=2):
        for i, cell in enumerate(row):
            column = header[i] if i < len(header) else ""
            if column in ("file", "sidecar") and cell in renamed:
                row[i] = renamed[cell]
                changed += 1
            elif column in IDS and identifiers.surely_in_path(cell, known):
                done.by_hand.append(f"{shown}, row {number}, column {i + 1}: give a study code instead")
            elif column not in IDS and cell and identifiers.surely(cell, column, known):
                row[i] = ""
                changed += 1
    if not changed:
        shutil.copyfile(path, place)
        return
    with place.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream, lineterminator="\r\n" if "\r\n" in text else "\n").writerows(rows)
    done.cleaned[shown] = done.cleaned.get(shown, 0) + changed


def _clean_recording(job: _Job) -> int:
    """Write the cleaned recording; returns how many texts were blanked. Raises ValueError if a value changed."""
    before = job.source.read_bytes()
    after = bytearray(before)
    count = 0
    for _ in range(3):  # blanking one text can bring out another that overlapped it
        telling = [t for t in texts_of_file(bytes(after)) if t.found(job.known)]
        for text in telling:
            _blank(after, text, edf=is_edf(before))
        count += len(telling)
        if not telling:
            break
    if count and (difference := values_differ(before, bytes(after))):
        raise ValueError(difference)
    job.target.write_bytes(after)
    return count


def _blank(data: bytearray, text: Text, *, edf: bool) -> None:
    length = text.end - text.start
    fill = b"\0" * length if text.wide else b" " * length
    if edf:
        fill = {"start date of the header": b"01.01.85", "start time of the header": b"00.00.00"}.get(text.place, fill)
        if text.place in ("patient field of the header", "recording field of the header"):
            fill = b"X".ljust(length)
    elif "name of a" in text.place or text.place.endswith("before the colon"):
        fill = b"X" * length
    data[text.start : text.end] = fill


def values_differ(before: bytes, after: bytes) -> str | None:
    """What differs between the measured values of two recordings, read by the usual readers; None if nothing does."""
    import tempfile

    if len(before) != len(after):
        return "the length of the file would change"
    with tempfile.TemporaryDirectory() as folder:
        suffix = ".edf" if is_edf(before) else ".c3d"
        paths = [Path(folder) / f"{name}{suffix}" for name in ("before", "after")]
        for path, data in zip(paths, (before, after), strict=True):
            path.write_bytes(data)
        return _edf_differs(*paths) if is_edf(before) else _c3d_differs(*paths)


def _c3d_differs(before: Path, after: Path) -> str | None:
    import numpy as np

    from pipelines.intake.c3d.problem import C3dProblem
    from pipelines.intake.c3d.reading import read_c3d

    try:
        old = read_c3d(before)
    except C3dProblem:
        return None  # it could not be read before: there are no values to keep
    new = read_c3d(after)
    for name in ("points", "valid", "analog", "analog_limits"):
        if not np.array_equal(getattr(old, name), getattr(new, name), equal_nan=name != "valid"):
            return f"the {name} would change"
    if (old.layout.point_rate_hz, old.layout.analog_rate_hz) != (new.layout.point_rate_hz, new.layout.analog_rate_hz):
        return "a rate would change"
    same_plates = len(old.plates) == len(new.plates) and all(
        np.array_equal(a.corners, b.corners, equal_nan=True) for a, b in zip(old.plates, new.plates, strict=True)
    )
    return None if same_plates else "a force plate would change"


def _edf_differs(before: Path, after: Path) -> str | None:
    import numpy as np

    from pipelines.intake.sidecar import SidecarProblem, read_sidecar

    try:
        old = read_sidecar(before)
    except SidecarProblem:
        return None
    new = read_sidecar(after)
    for a, b in zip(old.channels, new.channels, strict=True):
        if a.rate_hz != b.rate_hz or not np.array_equal(a.samples, b.samples):
            return "the samples of a channel would change"
    return None


def info_of(root: Path) -> dict[str, str]:
    """The fields of a folder's bag-info.txt; empty if there is none."""
    path = root / "bag-info.txt"
    if not path.is_file():
        return {}
    lines = path.read_text(encoding="utf-8-sig", errors="replace").splitlines()
    pairs = (re.split(r"\s*:\s*", line, maxsplit=1) for line in lines if ":" in line and not line[:1].isspace())
    return {label.strip(): value.strip() for label, value in pairs}
