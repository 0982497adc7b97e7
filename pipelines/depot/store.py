"""Bytes by key: the one layer through which all that a depot keeps is written, read, listed and removed.

A key is a relative name with slashes below the store's root (which there are: ``pipelines.depot.keys``). Under it lies
any filesystem of fsspec. Today that is a disk, on which an object is synced and renamed into place, so that a kill
leaves it whole or not there; elsewhere it is written beside and moved, which takes two steps.

Not kept through here, and local paths whatever the store: scratch folders in ``work/``, which are full of files that
libraries write and which come in by ``bring`` when they are finished; the lock, the SQLite books and Dagster's home,
which need the locks and the shared memory of a real disk.
"""

from __future__ import annotations

import errno
import hashlib
import io
import os
import secrets
import shutil
import tempfile
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import IO, Any

from pipelines.depot.disk import OtherBytesError, copied, files_below, remove_tree, sync_tree, to_disk, write_whole
from pipelines.depot.modes import only_for_the_owner
from pipelines.errors import Unusable


@dataclass(frozen=True)
class Store:
    """Objects below ``root`` on a filesystem of fsspec.

    beside: folder of that filesystem in which an object is written before it is moved into place; None: next to it.
    """

    filesystem: Any
    root: str
    beside: str | None = None

    @classmethod
    def on_disk(cls, folder: Path, beside: Path | None = None) -> Store:
        """A store in a folder of this machine. beside: on the same disk."""
        from fsspec.implementations.local import LocalFileSystem

        return cls(LocalFileSystem(), os.fspath(folder), None if beside is None else os.fspath(beside))

    @property
    def _is_disk(self) -> bool:
        return bool(getattr(self.filesystem, "local_file", False))

    def _at(self, key: str) -> str:
        if not key:
            return self.root
        if key.startswith("/") or any(part in ("", ".", "..") for part in key.split("/")):
            seen, expected = f"{key!r} leads out of the place it is in.", "a relative name below it."
            raise Unusable(seen, expected, "Find out who wrote it; then run manystrides verify.", file=self.root)
        return f"{self.root}/{key}"

    def at(self, key: str) -> Store:
        """What lies below ``key``, as a store of its own."""
        return Store(self.filesystem, self._at(key), self.beside)

    def shown(self, key: str = "") -> str:
        """What a place is called in messages: a path, or the address of another filesystem."""
        return self._at(key) if self._is_disk else str(self.filesystem.unstrip_protocol(self._at(key)))

    # -- reading -----------------------------------------------------------------------------------------------------

    def exists(self, key: str = "") -> bool:
        """Whether an object has this name, or lies below it."""
        path = self._at(key)
        if self._is_disk:
            return os.path.isfile(path) or any(True for _ in files_below(path))
        return bool(self.filesystem.isfile(path)) or any(files for _, _, files in self.filesystem.walk(path))

    def is_object(self, key: str) -> bool:
        """Whether an object with bytes of its own has this name: no folder, link or pipe."""
        try:
            told = self.filesystem.info(self._at(key))
        except (FileNotFoundError, NotADirectoryError):
            return False
        return told["type"] == "file" and not told.get("islink", False)

    def is_there(self, key: str) -> bool:
        """Whether anything has this name, be it a folder or a link that leads nowhere."""
        return bool(self.filesystem.lexists(self._at(key)))

    def size(self, key: str) -> int:
        """Bytes of an object."""
        return int(self.filesystem.size(self._at(key)))

    def open(self, key: str) -> IO[bytes]:
        """An object, to read. Raises OSError."""
        path = self._at(key)
        if self._is_disk:
            return open(path, "rb")
        return io.BytesIO(self.filesystem.cat_file(path))

    def read(self, key: str) -> bytes:
        """An object's bytes. Raises OSError."""
        with self.open(key) as stream:
            return stream.read()

    def sha256(self, key: str) -> str:
        """An object's checksum. Raises OSError."""
        with self.open(key) as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()  # type: ignore[arg-type]

    def names(self, key: str = "") -> list[str]:
        """What lies directly below a key; on a disk also a folder that somebody else left empty."""
        try:
            found = self.filesystem.ls(self._at(key), detail=False)
        except (FileNotFoundError, NotADirectoryError):
            return []
        return sorted(str(path).rstrip("/").rpartition("/")[2] for path in found)

    def below(self, key: str = "") -> list[str]:
        """Keys of all objects below a key, and of links and pipes that do not belong there."""
        path = self._at(key)
        found = files_below(path) if self._is_disk else self.filesystem.find(path)
        return sorted(str(one)[len(self.root) + 1 :] for one in found if one != path)

    def hashes(self, key: str = "") -> dict[str, str]:
        """Name below a key -> SHA-256 of every object; of a single object its own name."""
        if self.is_object(key):
            return {key.rpartition("/")[2]: self.sha256(key)}
        place = self.at(key)
        return {name: place.sha256(name) for name in place.below() if place.is_object(name)}

    def local(self, key: str = "") -> Path:
        """A file with an object's bytes, for libraries that open files themselves; nobody may write to it.

        On a disk it is the object itself, of another filesystem a copy.
        """
        if self._is_disk:
            return Path(self._at(key))
        target = Path(tempfile.mkdtemp(dir=_fetched().name)) / key.rpartition("/")[2]
        self.fetch(key, target)
        return target

    def fetch(self, key: str, target: Path, *, to_read: bool = False) -> None:
        """Copy an object to a new local file. to_read: nobody will write to it, so a second name of it is enough."""
        target.parent.mkdir(parents=True, exist_ok=True)
        if self._is_disk:
            if to_read:
                with suppress(OSError):  # another disk, or one without second names
                    os.link(self._at(key), target)
                    return
            shutil.copyfile(self._at(key), target)
        else:
            target.write_bytes(self.read(key))

    # -- writing -----------------------------------------------------------------------------------------------------

    def put(self, key: str, content: bytes, *, mode: int | None = None, sync: bool = True) -> None:
        """Write an object in place of what it was, whole or not at all.

        mode: who may read it on a disk, if not as the umask says. sync False: whoever writes many calls ``sync``.
        """
        self._write(key, io.BytesIO(content), None, mode, sync)

    def copy_in(
        self, key: str, incoming: IO[bytes], sha256: str, *, mode: int | None = None, sync: bool = True
    ) -> None:
        """The same from a stream, whose bytes must have this checksum. Raises OtherBytesError."""
        self._write(key, incoming, sha256, mode, sync)

    def _write(self, key: str, incoming: IO[bytes], sha256: str | None, mode: int | None, sync: bool) -> None:
        target = self._at(key)
        if self._is_disk:
            beside = None if self.beside is None else Path(self.beside)
            if beside is not None:
                Path(target).parent.mkdir(parents=True, exist_ok=True)
                only_for_the_owner(beside)
            write_whole(Path(target), incoming, sha256, beside=beside, mode=mode, sync=sync)
            return
        folder, _, name = target.rpartition("/")
        part = f"{self.beside or folder}/.{name}.{secrets.token_hex(8)}"
        try:
            with self.filesystem.open(part, "xb") as outgoing:
                now = copied(incoming, outgoing)
            if sha256 is not None and now != sha256:
                raise OtherBytesError(now)
            self._move(part, target)
        except BaseException:
            with suppress(FileNotFoundError):
                self.filesystem.rm_file(part)
            raise

    def sync(self, keys: Iterable[str]) -> None:
        """Make sure that objects are on the disk, which were put without."""
        if self._is_disk:
            paths = {self._at(key) for key in keys}
            for path in (*sorted(paths), *sorted({path.rpartition("/")[0] for path in paths})):
                to_disk(path)

    def bring(self, source: Path, key: str) -> None:
        """Take a finished local file or folder in, which is gone from its place then; on a disk in one step.

        A file may take the place of an object; where a folder goes nothing may be.
        """
        target = self._at(key)
        if self._is_disk:
            sync_tree(source)
            Path(target).parent.mkdir(parents=True, exist_ok=True)
            os.replace(source, target)
            to_disk(target.rpartition("/")[0])
            return
        if source.is_dir() and self.exists(key):
            raise FileExistsError(self.shown(key))
        for file in sorted(p for p in source.rglob("*") if p.is_file()) if source.is_dir() else (source,):
            own = key if file == source else f"{key}/{file.relative_to(source).as_posix()}"
            self.put(own, file.read_bytes())
        remove_tree(source)

    def move(self, key: str, to: str) -> None:
        """Give an object, or all below a key, another place, where nothing may be; on a disk in one step."""
        source, target = self._at(key), self._at(to)
        if self.is_there(to):
            raise FileExistsError(self.shown(to))
        if self._is_disk:
            Path(target).parent.mkdir(parents=True, exist_ok=True)
        self._move(source, target)
        if self._is_disk:
            for path in (target, source):
                to_disk(path.rpartition("/")[0])
            self._prune(source)

    def _move(self, source: str, target: str) -> None:
        if self._is_disk:
            os.replace(source, target)
        else:
            self.filesystem.mv(source, target, recursive=self.filesystem.isdir(source))

    def remove(self, key: str) -> None:
        """Delete an object, or all below a key; what is not there is gone already. Raises OSError if it stays."""
        path = self._at(key)
        if self._is_disk:
            remove_tree(Path(path))
            if os.path.lexists(path):
                raise OSError(errno.EBUSY, "it cannot be removed", path)
            self._prune(path)
        elif self.filesystem.exists(path):
            self.filesystem.rm(path, recursive=True)

    def _prune(self, gone: str) -> None:
        """Remove the folders above what is gone, as far as they are empty: elsewhere there are no folders."""
        folder = gone.rpartition("/")[0]
        with suppress(OSError):
            while folder.startswith(f"{self.root}/") and folder != self.beside:
                os.rmdir(folder)
                folder = folder.rpartition("/")[0]

    def shut(self, key: str) -> None:
        """Let nobody but the owner look below a key, made or to be made; for a disk."""
        if self._is_disk:
            only_for_the_owner(Path(self._at(key)))


@cache
def _fetched() -> tempfile.TemporaryDirectory[str]:
    """Where copies of objects lie that are on no disk; gone when this process ends."""
    return tempfile.TemporaryDirectory(prefix="manystrides-fetched-")
