"""The layer under a depot: the same on a disk and on another filesystem, and nothing is there by half."""

from __future__ import annotations

import hashlib
import io
import os
import stat
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from uuid import uuid4

import pytest
from fsspec.implementations.local import LocalFileSystem
from fsspec.implementations.memory import MemoryFileSystem
from hypothesis import given
from hypothesis import strategies as st

from pipelines.depot.disk import OtherBytesError
from pipelines.depot.store import Store
from pipelines.errors import Unusable
from tests.tries import tries

PARTS = ("a", "b", "c.parquet")
KEYS = st.lists(st.sampled_from(PARTS), min_size=1, max_size=3).map("/".join)
BYTES = st.binary(max_size=40)


@contextmanager
def on_disk() -> Iterator[Store]:
    with tempfile.TemporaryDirectory() as folder:
        yield Store.on_disk(Path(folder) / "kept", beside=Path(folder) / "beside")


@contextmanager
def in_memory() -> Iterator[Store]:
    root = f"/{uuid4().hex}"
    yield Store(MemoryFileSystem(), f"{root}/kept", beside=f"{root}/beside")


PLACES: dict[str, Callable] = {"disk": on_disk, "memory": in_memory}
anywhere = pytest.mark.parametrize("place", PLACES.values(), ids=PLACES)


def sha(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def seen(store: Store) -> dict[str, object]:
    """All that can be read of a store."""
    every = store.below()
    folders = {key.rsplit("/", n)[0] for key in every for n in range(1, key.count("/") + 1)}
    return {
        "bytes": {key: store.read(key) for key in every},
        "sums": store.hashes(),
        "sizes": [store.size(key) for key in every],
        "objects": [store.is_object(key) for key in every],
        "names": {folder: store.names(folder) for folder in ("", *folders)},
        "inside": {folder: store.at(folder).below() for folder in folders},
        "there": {key: store.exists(key) for key in (*folders, *PARTS)},
        "local": {key: store.local(key).read_bytes() for key in every},
    }


STEP = st.one_of(
    st.tuples(st.just("put"), KEYS, BYTES),
    st.tuples(st.just("copy_in"), KEYS, BYTES),
    st.tuples(st.just("remove"), KEYS, st.just(b"")),
    st.tuples(st.just("move"), KEYS, KEYS),
)


def done(store: Store, step: tuple[str, str, bytes | str]) -> str:
    """What came of a step; a name cannot be both an object and a folder, nor a folder go into itself."""
    what, key, other = step
    above = [key.rsplit("/", n)[0] for n in range(1, key.count("/") + 1)]
    if what in ("put", "copy_in") and (
        any(map(store.is_object, above)) or (store.exists(key) and not store.is_object(key))
    ):
        return "no place"
    if isinstance(other, str):
        ways = [other.rsplit("/", n)[0] for n in range(1, other.count("/") + 1)]
        if (
            not store.exists(key)
            or f"{other}/".startswith(f"{key}/")
            or any(map(store.is_object, ways))
            or store.is_there(other)
        ):
            return "no way"
        store.move(key, other)
    elif what == "put":
        store.put(key, other, sync=False)
    elif what == "copy_in":
        store.copy_in(key, io.BytesIO(other), sha(other), sync=False)
    else:
        store.remove(key)
    return "done"


@tries(50)
@given(st.lists(STEP, max_size=8))
def test_a_disk_and_another_filesystem_hold_the_same_after_the_same_steps(steps: list) -> None:
    with on_disk() as one, in_memory() as other:
        model: dict[str, bytes] = {}
        for step in steps:
            told = done(one, step)
            assert done(other, step) == told
            if told == "done":
                _follow(model, step)
        assert seen(one) == seen(other)
        assert seen(one)["bytes"] == model


def _follow(model: dict[str, bytes], step: tuple) -> None:
    what, key, other = step
    inside = {k: model.pop(k) for k in list(model) if what in ("remove", "move") and f"{k}/".startswith(f"{key}/")}
    if what == "move":
        model |= {other + k.removeprefix(key): content for k, content in inside.items()}
    elif what != "remove":
        model[key] = other


class _Killed(BaseException):
    """Ends a process where it stands."""


def _dying(kind: type, at: str) -> type:
    """A filesystem on which the process dies at one of its calls."""

    def dies(*_: object, **__: object) -> None:
        raise _Killed

    return type("Dying", (kind,), {at: dies, "protocol": "dying", "cachable": False})


@pytest.mark.parametrize("older", [None, b"older"], ids=["nothing there", "an object there"])
@pytest.mark.parametrize("kind", [LocalFileSystem, MemoryFileSystem])
def test_killed_between_writing_and_moving_nothing_new_has_the_final_name(
    kind: type, older: bytes | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    root = str(tmp_path)
    with suppress(_Killed):
        if older is not None:
            Store(kind(), root).put("a/b", older)
        if kind is LocalFileSystem:
            monkeypatch.setattr(os, "replace", _dying(kind, "mv").mv)
        Store(_dying(kind, "mv")(), root, beside=f"{root}/beside").put("a/b", b"newer")
        raise AssertionError("it was not killed")
    store = Store(kind(), root)
    assert store.exists("a/b") == (older is not None)
    assert older is None or store.read("a/b") == older


@anywhere
def test_bytes_that_changed_on_their_way_are_not_taken_in(place: Callable) -> None:
    with place() as store:
        store.put("raw/one", b"older")
        with pytest.raises(OtherBytesError) as told:
            store.copy_in("raw/one", io.BytesIO(b"newer"), sha(b"expected"))
        assert told.value.now == sha(b"newer")
        assert store.read("raw/one") == b"older"
        assert store.below() == ["raw/one"]


@anywhere
@pytest.mark.parametrize("key", ["../other", "/etc/passwd", "a/../../b", "a//b", "./a", "a/"])
def test_no_key_leads_out_of_the_store(place: Callable, key: str) -> None:
    with place() as store:
        for use in (store.read, store.exists, store.remove, store.at, store.local, lambda k: store.put(k, b"x")):
            with pytest.raises(Unusable, match="leads out"):
                use(key)


@anywhere
def test_a_finished_folder_is_brought_in_whole_and_only_where_nothing_is(place: Callable, tmp_path: Path) -> None:
    for name in ("one", "two"):
        (tmp_path / name / "bag").mkdir(parents=True)
        (tmp_path / name / "bag" / "info").write_text(name)
        (tmp_path / name / "t.parquet").write_text(name)
    with place() as store:
        store.bring(tmp_path / "one", "deliveries/d-1")
        assert not (tmp_path / "one").exists()
        assert store.below() == ["deliveries/d-1/bag/info", "deliveries/d-1/t.parquet"]
        with pytest.raises(OSError, match=r"."):
            store.bring(tmp_path / "two", "deliveries/d-1")
        store.bring(tmp_path / "two" / "t.parquet", "warehouse")
        store.bring(tmp_path / "two" / "bag" / "info", "warehouse")
        assert store.hashes("warehouse") == {"warehouse": sha(b"two")}
        assert store.read("deliveries/d-1/t.parquet") == b"one"


@anywhere
def test_a_copy_that_is_fetched_is_ones_own(place: Callable, tmp_path: Path) -> None:
    with place() as store:
        store.put("a", b"kept")
        store.fetch("a", tmp_path / "mine")
        (tmp_path / "mine").write_bytes(b"changed")
        store.fetch("a", tmp_path / "to read", to_read=True)
        assert (store.read("a"), (tmp_path / "to read").read_bytes()) == (b"kept", b"kept")


def test_on_a_disk_modes_are_set_before_the_first_byte_and_links_and_pipes_are_no_objects(tmp_path: Path) -> None:
    store = Store.on_disk(tmp_path / "kept")
    modes = []

    class Slow(io.BytesIO):
        def read(self, *_: object) -> bytes:
            modes.append({stat.S_IMODE(p.stat().st_mode) for p in (tmp_path / "kept").iterdir()})
            return super().read(1)

    store.copy_in("a", Slow(b"ab"), sha(b"ab"), mode=0o400)
    assert modes == [{0o400}] * 3
    os.symlink("a", tmp_path / "kept" / "link")
    os.symlink("nowhere", tmp_path / "kept" / "lost")
    os.mkfifo(tmp_path / "kept" / "pipe")
    assert store.below() == ["a", "link", "lost", "pipe"]
    assert [key for key in store.below() if store.is_object(key)] == ["a"]
    assert all(map(store.is_there, store.below()))
    assert store.hashes() == {"a": sha(b"ab")}
    store.remove("link")
    assert store.read("a") == b"ab"
