"""Safe unpacking of a delivery that came as a ZIP file. Knows nothing of bags or tables.

Every member is judged by the archive's directory before a byte is written. The directory can lie: Python's reader gives
no more bytes than it states, so the limits hold, and a member that is in truth longer or shorter fails its checksum
or its length and refuses the archive. What is refused leaves nothing behind.
"""

from __future__ import annotations

import shutil
import stat
import unicodedata
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from schemas.received import Problem

_CHUNK = 1 << 20
_LONGEST_PATH = 1024
_LONGEST_NAME = 200  # bytes; file systems take 255, and a few more are needed beside a file while it is written


@dataclass(frozen=True)
class ArchiveLimits:
    """What an archive may hold. ``most_ratio`` is unpacked over packed size of a member above ``ratio_from_bytes``."""

    most_members: int = 20_000
    most_bytes: int = 20 << 30
    most_ratio: float = 200.0
    ratio_from_bytes: int = 1 << 20


def unpack(zip_path: Path, target_dir: Path, limits: ArchiveLimits | None = None) -> list[Problem]:
    """Unpack into ``target_dir`` (made if missing; must be empty). Problems of kind "archive"; none: all is written.

    The archive's one top-level folder is then the only entry of ``target_dir``. Never raises on a hostile archive;
    OSError of the target disk is passed on, after what was written has been removed.
    """
    limits = limits or ArchiveLimits()
    file = zip_path.name
    try:
        archive = zipfile.ZipFile(zip_path)
    except Exception as error:  # of a hostile file Python's reader raises what it happens upon
        return [_problem(file, f"it is not a readable ZIP file ({_reason(error)})", "a ZIP file")]
    with archive:
        problems = list(_judge(archive.infolist(), file, limits))
        if problems:
            return problems
        existed = target_dir.exists()
        target_dir.mkdir(parents=True, exist_ok=True)
        try:
            problem = _write(archive, target_dir, file)
        except BaseException:
            _clear(target_dir, existed)
            raise
    if problem:
        _clear(target_dir, existed)
        return [problem]
    return []


def path_fault(path: str) -> str | None:
    """Why a path of an archive or a manifest is not one inside the delivery; None if it is. Folders end in "/"."""
    parts = path.removesuffix("/").split("/")
    if "\\" in path:
        return "has a backslash"
    if path.startswith("/") or (len(path) > 1 and path[1] == ":"):
        return "is absolute"
    if ".." in parts:
        return "leads out of the delivery ('..')"
    if any(part in ("", ".") for part in parts):
        return "has an empty part"
    if path.startswith("~"):
        return "begins with '~'"
    if any(ord(c) < 32 or 0x7F <= ord(c) < 0xA0 for c in path):
        return "has a control character"
    if _not_utf8(path):
        return "is not valid text"
    if len(path) > _LONGEST_PATH or any(len(part.encode()) > _LONGEST_NAME for part in parts):
        return "is too long"
    return None


def same_on_some_disk(path: str) -> str:
    """A form equal for two paths that some file system takes for one: other case, other composition of accents."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", path.removesuffix("/")).casefold())


def shown(path: str) -> str:
    """A path as a message may show it."""
    text = "".join(c if c.isprintable() else "?" for c in path[:120])
    return f"'{text}{'...' if len(path) > 120 else ''}'"


def _not_utf8(path: str) -> bool:
    try:
        path.encode()
    except UnicodeEncodeError:
        return True
    return False


def _judge(members: list[zipfile.ZipInfo], file: str, limits: ArchiveLimits) -> Iterator[Problem]:
    """Problems that the archive's directory shows."""
    if len(members) > limits.most_members:
        yield _problem(file, f"it has {len(members)} members", f"at most {limits.most_members}")
        return
    for member in members:
        yield from _judge_member(member, file, limits)
    total = sum(member.file_size for member in members)
    if total > limits.most_bytes:
        yield _problem(file, f"it unpacks to {total} bytes", f"at most {limits.most_bytes} bytes")
    yield from _judge_names([member.filename for member in members], file)


def _judge_member(member: zipfile.ZipInfo, file: str, limits: ArchiveLimits) -> Iterator[Problem]:
    name = shown(member.orig_filename)
    # orig_filename is the name before Python tidies it, cutting it at a null byte
    if fault := path_fault(member.orig_filename):
        expected = "only relative paths inside the delivery, with forward slashes"
        yield _problem(file, f"the path {name} {fault}", expected, name)
    mode = member.external_attr >> 16
    kind = stat.S_IFMT(mode)
    if kind not in (0, stat.S_IFREG, stat.S_IFDIR):
        what = "a link" if stat.S_ISLNK(mode) else "neither file nor folder"
        yield _problem(file, f"{name} is {what}", "only plain files and folders", name)
    elif kind and _is_folder(member) != (kind == stat.S_IFDIR):
        yield _problem(file, f"{name} is a folder by name or mode only", "only plain files and folders", name)
    if member.flag_bits & 0x1:
        yield _problem(file, f"{name} is encrypted", "an archive without a password", name)
    if member.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        yield _problem(file, f"{name} is packed by an unusual method", "members stored or deflated", name)
    if _is_folder(member) and member.file_size:
        yield _problem(file, f"the folder {name} has content", "only plain files and folders", name)
    ratio = member.file_size / max(member.compress_size, 1)
    if member.file_size > limits.ratio_from_bytes and ratio > limits.most_ratio:
        seen = f"{name} unpacks to {ratio:.0f} times its packed size"
        yield _problem(file, seen, f"at most {limits.most_ratio:g} times", name)


def _is_folder(member: zipfile.ZipInfo) -> bool:
    """Whether a member is a folder; its own ``is_dir`` fails on an empty name before Python 3.12."""
    return member.filename.endswith("/")


def _judge_names(names: list[str], file: str) -> Iterator[Problem]:
    if not names:
        yield _problem(file, "it is empty", "one folder, the bag, at the top")
        return
    tops = sorted({name.split("/")[0] for name in names})
    loose = [name for name in names if "/" not in name]
    if len(tops) != 1 or loose:
        listed = ", ".join(shown(top) for top in tops[:5])
        yield _problem(file, f"at the top stand {listed}", "one folder, the bag, at the top")
    first: dict[str, str] = {}
    folders = {same_on_some_disk(parent) for name in names for parent in _parents(name)}
    for name in names:
        key = same_on_some_disk(name)
        if key in first:
            seen = f"{shown(first[key])} and {shown(name)} are one file on some computers"
            yield _problem(file, seen, "every path once, also when upper and lower case are not told apart")
        elif not name.endswith("/") and key in folders:
            yield _problem(file, f"{shown(name)} is both file and folder", "every path once")
        first.setdefault(key, name)


def _parents(name: str) -> Iterator[str]:
    parts = name.removesuffix("/").split("/")
    for depth in range(1, len(parts)):
        yield "/".join(parts[:depth])


def _write(archive: zipfile.ZipFile, target: Path, file: str) -> Problem | None:
    """Write every member; the first problem ends it."""
    for member in archive.infolist():
        path = target / member.filename
        if _is_folder(member):
            path.mkdir(parents=True, exist_ok=True)
            continue
        path.parent.mkdir(parents=True, exist_ok=True)
        name, written = shown(member.filename), 0
        try:
            source = archive.open(member)
        except Exception as error:  # as above; nothing of ours runs in here
            return _problem(file, f"{name} cannot be unpacked ({_reason(error)})", "a sound archive", name)
        with source, path.open("xb") as sink:
            while True:
                try:
                    block = source.read(_CHUNK)
                except Exception as error:  # as above
                    seen = f"{name} is damaged ({_reason(error)})"
                    return _problem(file, seen, "a sound archive", name)
                if not block:
                    break
                written += len(block)
                sink.write(block)
        if written != member.file_size:
            return _problem(file, f"{name} is shorter than the archive says", "a sound archive", name)
    return None


def _clear(target: Path, keep: bool) -> None:
    """Remove what was written: the folder, or if it was there before, what is in it."""
    if not keep:
        shutil.rmtree(target, ignore_errors=True)
        return
    for entry in target.iterdir():
        shutil.rmtree(entry, ignore_errors=True) if entry.is_dir() else entry.unlink(missing_ok=True)


def _reason(error: Exception) -> str:
    return " ".join(str(error).split())[:120] or type(error).__name__


def _problem(file: str, seen: str, expected: str, place: str | None = None) -> Problem:
    return Problem("archive", seen, expected, file, place)
