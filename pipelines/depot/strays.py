"""What lies in a depot's folder and was not written by it: beside what is kept, in the log, and in the scratch folder.

What lies among the bytes that are kept, and what they should be, is in ``pipelines.depot.verify``. Nothing is removed.
"""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Iterator
from pathlib import Path

from pipelines.depot import keys
from pipelines.depot.books.where import FILE, WORD
from pipelines.depot.exchange import REPLACED
from pipelines.depot.reached import NAME as HEAD
from pipelines.depot.storage import Depot
from pipelines.depot.upgrade import ASIDE
from pipelines.logs import FOLDER as LOG
from pipelines.logs import NAME as LOG_FILE

#: Folders of the depot, and files beside them. SQLite writes its log and the memory it shares beside the books.
_FOLDERS = frozenset(
    {keys.RAW, keys.CLOSED, keys.DELIVERIES, keys.RELEASES, *keys.BUILT, keys.WORK, LOG, ASIDE} - {keys.WAREHOUSE}
)
_FILES = frozenset({FILE, WORD, HEAD, keys.WAREHOUSE, *(f"{FILE}-{rest}" for rest in ("wal", "shm", "journal"))})
_LOG_FILES = re.compile(re.escape(LOG_FILE) + r"(?:\.[0-9]+)?")
#: What commands that were killed leave: folders and files with a random word, results that wait to be replaced.
_SCRATCH = re.compile(r".+\.[0-9a-f]{8}|\..+\.[0-9a-f]{16}|.+" + re.escape(REPLACED) + r".*")
_KINDS = {
    stat.S_IFLNK: "a link",
    stat.S_IFIFO: "a named pipe",
    stat.S_IFSOCK: "a socket",
    stat.S_IFCHR: "a device",
    stat.S_IFBLK: "a device",
    stat.S_IFDIR: "a folder",
    stat.S_IFREG: "a file",
}


def strays(depot: Depot) -> Iterator[tuple[Path, str]]:
    """Path and what it is, of all that the depot did not write, for a depot that nobody writes to."""
    inbox_or_history = {depot.inbox.name, depot.dagster_home.name}  # other people's, and Dagster's own
    beside = {*_FILES, depot.lock_file.name, *([depot.register.name] if depot.register.parent == depot.root else [])}
    for entry in _entries(depot.root):
        what = kind_of(entry)
        if what == "a folder" and entry.name in _FOLDERS | inbox_or_history:
            continue
        if what != "a file" or entry.name not in beside:
            yield Path(entry.path), what
    for entry in _entries(depot.root / LOG):
        if kind_of(entry) != "a file" or not _LOG_FILES.fullmatch(entry.name):
            yield Path(entry.path), kind_of(entry)
    for entry in _entries(depot.work):
        if kind_of(entry) not in ("a file", "a folder") or not _SCRATCH.fullmatch(entry.name):
            yield Path(entry.path), kind_of(entry)


def kind_of(entry: os.DirEntry[str]) -> str:
    """What an entry of a folder is, in a few words; a link is a link, wherever it leads."""
    return _KINDS.get(stat.S_IFMT(entry.stat(follow_symlinks=False).st_mode), "something unknown")


def _entries(folder: Path) -> list[os.DirEntry[str]]:
    """What is in a folder, by name; nothing of one that is not there or is a link, which is told of itself."""
    if folder.is_symlink() or not folder.is_dir():
        return []
    with os.scandir(folder) as found:
        return sorted(found, key=lambda entry: entry.name)
