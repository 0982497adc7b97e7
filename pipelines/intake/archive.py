"""Safe unpacking of a delivery that came as a ZIP file. Knows nothing of bags or tables.

Every member and the archive as a whole are judged by its directory before a byte is written. The directory can lie:
Python's reader gives no more bytes than it states, so the limits hold, and a member that is in truth longer or shorter
fails its checksum or its length and refuses the archive. What is refused leaves nothing behind.
"""

from __future__ import annotations

import re
import shutil
import stat
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from pipelines.intake.litter import is_litter
from pipelines.intake.paths import path_fault, same_on_some_disk
from schemas.quota import MIB, Quota
from schemas.received import Problem
from schemas.said import said

_CHUNK = 1 << 20
_ANY_RATIO_MIB = 16  # so little does no harm, however well it was packed


@dataclass(frozen=True)
class _Member:
    """One entry of the archive's directory. name: with forward slashes; a folder's ends in one. number: from 1."""

    info: zipfile.ZipInfo
    name: str
    number: int

    @property
    def is_folder(self) -> bool:
        return self.name.endswith("/")


def unpack(zip_path: Path, target_dir: Path, quota: Quota) -> tuple[list[Problem], list[str]]:
    """Unpack into ``target_dir`` (made if missing; must be empty). Problems of kind "archive"; none: all is written.

    The archive's one top-level folder is then the only entry of ``target_dir``. The second list names what an operating
    system had left beside that folder; it is not written. Never raises on a hostile archive; OSError of the target disk
    is passed on, after what was written has been removed.
    """
    file = zip_path.name
    try:
        archive = zipfile.ZipFile(zip_path)
    except Exception as error:  # of a hostile file Python's reader raises what it happens upon
        return [_problem(file, f"it is not a readable ZIP file ({_reason(error)})", "a ZIP file")], []
    with archive:
        if problems := list(_judge_whole(archive.infolist(), zip_path, quota)):
            return problems, []
        members = [_member(info, n) for n, info in enumerate(archive.infolist(), start=1)]
        litter = [m.name for m in members if is_litter(m.name.split("/")[0])]
        members = [m for m in members if not is_litter(m.name.split("/")[0])]
        if problems := [p for m in members for p in _judge_member(m, file)] + list(_judge_names(members, file)):
            return problems, []
        existed = target_dir.exists()
        target_dir.mkdir(parents=True, exist_ok=True)
        try:
            problem = _write(archive, members, target_dir, file)
        except BaseException:
            _clear(target_dir, existed)
            raise
    if problem:
        _clear(target_dir, existed)
        return [problem], []
    return [], litter


def _member(info: zipfile.ZipInfo, number: int) -> _Member:
    name = info.orig_filename  # the name before Python tidies it, cutting it at a null byte
    # as some programs part folders; no name of a delivery may hold one
    return _Member(info, name.replace("\\", "/"), number)


_TOO_MUCH = (
    "Send the delivery in parts, each a bag under a number of its own, or ask the data manager for a larger limit; an "
    "archive that unpacks to so many times its size was damaged, or made by another program than one that zips folders"
)


def _judge_whole(members: Sequence[zipfile.ZipInfo], zip_path: Path, quota: Quota) -> Iterator[Problem]:
    """Problems of the archive as a whole: members, bytes, and how far it unpacks."""
    file = zip_path.name
    if len(members) > quota.most_files:
        yield _problem(file, f"it has {len(members)} members", f"at most {quota.most_files}", mend=_TOO_MUCH)
    total, packed = sum(member.file_size for member in members), max(1, zip_path.stat().st_size)
    if total > quota.most_bytes:
        yield _problem(file, f"it unpacks to {total / MIB:.1f} MiB", f"at most {quota.most_mib:g} MiB", mend=_TOO_MUCH)
    # by the size of the file itself, for members may share their packed bytes
    if total > _ANY_RATIO_MIB * MIB and total / packed > quota.most_times_packed:
        seen = f"it unpacks to {total / MIB:.1f} MiB, {total / packed:.0f} times its own size"
        yield _problem(file, seen, f"at most {quota.most_times_packed:g} times", mend=_TOO_MUCH)


def _judge_member(member: _Member, file: str) -> Iterator[Problem]:
    info, name = member.info, said(member.name)
    place = f"{name}, member {member.number}"
    if fault := path_fault(member.name):
        expected = "only relative paths inside the delivery, with forward slashes"
        yield _problem(file, f"the path {name} {fault}", expected, place)
    mode = info.external_attr >> 16
    kind = stat.S_IFMT(mode)
    if kind not in (0, stat.S_IFREG, stat.S_IFDIR):
        what = "a link" if stat.S_ISLNK(mode) else "neither file nor folder"
        yield _problem(file, f"{name} is {what}", "only plain files and folders", place)
    elif kind and member.is_folder != (kind == stat.S_IFDIR):
        yield _problem(file, f"{name} is a folder by name or mode only", "only plain files and folders", place)
    if info.flag_bits & 0x1:
        yield _problem(file, f"{name} is encrypted", "an archive without a password", place)
    if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        yield _problem(file, f"{name} is packed by an unusual method", "members stored or deflated", place)
    if member.is_folder and info.file_size:
        yield _problem(file, f"the folder {name} has content", "only plain files and folders", place)


def _judge_names(members: Sequence[_Member], file: str) -> Iterator[Problem]:
    names = [member.name for member in members]
    if not names:
        yield _problem(file, "it is empty", "one folder, the bag, at the top")
        return
    tops = sorted({name.split("/")[0] for name in names})
    loose = [name for name in names if "/" not in name]
    if len(names) == 1 and names[0].lower().endswith(".zip"):
        yield _problem(file, f"it holds another ZIP file and nothing else, {said(names[0])}", "the bag's folder, once")
    elif len(tops) != 1 or loose:
        listed = ", ".join(said(top) for top in tops[:5])
        yield _problem(file, f"at the top stand {listed}", "one folder, the bag, at the top")
    first: dict[str, str] = {}
    folders = {same_on_some_disk(parent) for name in names for parent in _parents(name)}
    for name in names:
        key = same_on_some_disk(name)
        if key in first:
            seen = f"{said(first[key])} and {said(name)} are one file on some computers"
            yield _problem(file, seen, "every path once, also when upper and lower case are not distinguished")
        elif not name.endswith("/") and key in folders:
            yield _problem(file, f"{said(name)} is both file and folder", "every path once")
        first.setdefault(key, name)


def _parents(name: str) -> Iterator[str]:
    parts = name.removesuffix("/").split("/")
    for depth in range(1, len(parts)):
        yield "/".join(parts[:depth])


def _write(archive: zipfile.ZipFile, members: Sequence[_Member], target: Path, file: str) -> Problem | None:
    """Write every member; the first problem ends it."""
    for member in members:
        path = target / member.name
        if member.is_folder:
            path.mkdir(parents=True, exist_ok=True)
            continue
        path.parent.mkdir(parents=True, exist_ok=True)
        name, written = said(member.name), 0
        place = f"{name}, member {member.number}"
        try:
            source = archive.open(member.info)
        except Exception as error:  # as above; nothing of ours runs in here
            return _problem(file, f"{name} cannot be unpacked ({_reason(error)})", "a sound archive", place)
        with source, path.open("xb") as sink:
            while True:
                try:
                    block = source.read(_CHUNK)
                except Exception as error:  # as above
                    seen = f"{name} is damaged ({_reason(error)})"
                    return _problem(file, seen, "a sound archive", place)
                if not block:
                    break
                written += len(block)
                sink.write(block)
        if written != member.info.file_size:
            return _problem(file, f"{name} is shorter than the archive says", "a sound archive", place)
    return None


def _clear(target: Path, keep: bool) -> None:
    """Remove what was written: the folder, or if it was there before, what is in it."""
    if not keep:
        shutil.rmtree(target, ignore_errors=True)
        return
    for entry in target.iterdir():
        shutil.rmtree(entry, ignore_errors=True) if entry.is_dir() else entry.unlink(missing_ok=True)


def _reason(error: Exception) -> str:
    """What Python says of an archive, without the names of members that it repeats in quotes."""
    own = re.split("['\"]", " ".join(str(error).split()), maxsplit=1)[0].strip()
    return own[:120] or type(error).__name__


def _problem(file: str, seen: str, expected: str, place: str | None = None, mend: str | None = None) -> Problem:
    return Problem("archive", seen, expected, said(file), place, mend=mend)
