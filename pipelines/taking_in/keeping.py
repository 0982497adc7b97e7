"""Which bytes of a delivery are kept where: in the raw store, or apart because consent does not cover them.

How bytes are written is in ``pipelines.depot.store``; whether consent covers a trial is a check.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

from pipelines.depot import keys
from pipelines.depot.books.rows import Payload, Record
from pipelines.depot.desk import Opened
from pipelines.depot.published import prove
from pipelines.depot.storage import Depot
from pipelines.identity.file_names import OWN_TAG_FILES
from schemas.consent import Consent
from schemas.kept import left_out


def payload_of(
    opened: Opened, consent: Consent, apart: frozenset[str] = frozenset(), unlooked: frozenset[str] = frozenset()
) -> Payload:
    """Where every payload file belongs: in raw, or apart if consent does not cover all of it or no table says whose.

    Kept apart are files of withheld trials, tables with rows that consent does not cover, files of trials of which only
    a part is covered, such as all but the muscles (bytes cannot be cut out of a file, so only what consent covers is
    read from it), files of the trials ``apart``, for what was seen on reading them, and files ``unlooked`` with texts
    that nobody has allowed. Files of other kinds are not kept.
    """
    other = left_out(opened.received)
    files = [f for f in opened.received.files if f.path not in other]
    shut_trials = consent.withheld | apart | consent.partly_covered
    shut = {path for trial in shut_trials for path in consent.files.get(trial, ())}
    shut |= set() if consent.covers_all else {f.path for f in files if _is_sent_table(f.path)}
    shut |= unlooked
    shut_shas = {f.sha256 for f in files if f.path in shut}
    named = {path for paths in consent.files.values() for path in paths}
    closed = (f.path for f in files if f.sha256 in shut_shas or not (_is_table(f.path) or f.path in named))
    not_kept = tuple(f for f in opened.received.files if f.path in other)
    beside = tuple(p for p in opened.received.problems if p.kind == "beside")
    return Payload({f.path: f.sha256 for f in files}, frozenset(closed), not_kept, beside)


def store_files(depot: Depot, delivery_id: str, content: Path, payload: Payload) -> None:
    """Store every file of a payload where it belongs. content: the folder the files are in."""
    for path, sha256 in payload.stored.items():
        if path in payload.closed:
            depot.store_closed(content / path, delivery_id, sha256)
        else:
            depot.store_raw(content / path, sha256)


def _is_table(path: str) -> bool:
    return path.lower().endswith((".csv", ".json")) and "/" not in path


def _is_sent_table(path: str) -> bool:
    """Whether it is one of the tables, or another file like them: each is one file for all runners."""
    return _is_table(path) and path.lower().endswith(".csv")


def shut_bytes(depot: Depot) -> None:
    """Remove bytes from the raw store that some delivery keeps apart and none has in the open."""
    for sha in depot.books.deliveries.shut_everywhere():
        depot.store.remove(keys.raw(sha))


def drop_unheld(depot: Depot, record: Record) -> None:
    """Remove bytes kept apart for a delivery that are no longer its: taken out on a withdrawal, or open again."""
    payload = depot.books.deliveries.payload(record.delivery_id)
    held = {payload.stored[path] for path in payload.closed}
    for key in depot.store.below(f"{keys.CLOSED}/{record.delivery_id}"):
        if key.rpartition("/")[2] not in held:
            depot.store.remove(key)


def rebuild_bag(depot: Depot, record: Record, target: Path) -> Path:
    """The bag as it came, put together from the depot, so that it is read the same way as on arrival.

    Raises Unusable if a file is not the one that was stored: a damaged depot is not the laboratory's fault.
    """
    result = depot.result(record.delivery_id)
    (target / "data").mkdir(parents=True)
    for path, sha256 in depot.books.files.of(keys.result(record.delivery_id)).items():
        if path.startswith("bag/"):
            prove(result, path, sha256)
            result.fetch(path, target / path.removeprefix("bag/"))
    payload = depot.books.deliveries.payload(record.delivery_id)
    for path, key, sha256 in keys.payload(record.delivery_id, payload):
        prove(depot.store, key, sha256)
        depot.store.fetch(key, target / "data" / path, to_read=True)
    return target


def copy_tag_files(content: Path, target: Path, payload: Payload, info: Mapping[str, str]) -> None:
    """Copy BagIt's own files, which lie round the payload, so that the bag can be put together again.

    Nothing else that lies there is kept, no line about a file that is not, and of bag-info.txt only the fields
    ``info``: nobody looks into what else it says. Tag manifests are kept where all that they list is kept as it came.
    """
    whole = True
    for path in sorted(content.parent.iterdir()):
        if not OWN_TAG_FILES.fullmatch(path.name) or path.name.startswith("tagmanifest-") or not _is_plain(path):
            continue
        came = path.read_bytes()
        kept = came
        if path.name == "bag-info.txt":
            size = sum(p.stat().st_size for p in map(content.joinpath, payload.stored) if p.is_file())
            kept = _bag_info(came, info, f"{size}.{len(payload.stored)}")
        elif path.name.startswith("manifest-"):
            kept = b"".join(line for line in came.splitlines(keepends=True) if _is_kept(line, payload))
        whole = whole and kept == came
        _write(target / path.name, kept)
    for path in content.parent.glob("tagmanifest-*.txt") if whole else ():
        lines = path.read_text(encoding="utf-8").splitlines() if _is_plain(path) else []
        kept = "".join(f"{line}\n" for line in lines if _names_own_tag_file(line)).encode()
        _write(target / path.name, kept)


def _is_plain(path: Path) -> bool:
    return path.is_file() and not path.is_symlink()


def _write(path: Path, content: bytes) -> None:
    path.write_bytes(content)
    path.chmod(0o600)


def _bag_info(came: bytes, info: Mapping[str, str], oxum: str) -> bytes:
    """The fields that are kept, as they stood where no other is beside them."""
    text = came.decode("utf-8-sig")
    labels = {line.partition(":")[0].strip().lower() for line in text.splitlines() if line.strip()}
    if labels <= {*(label.lower() for label in info), "payload-oxum"} and (
        "payload-oxum" not in labels or f"{oxum}\n" in text.replace("\r", "")
    ):
        return came
    return "".join(f"{label}: {value}\n" for label, value in (*info.items(), ("Payload-Oxum", oxum))).encode()


def _is_kept(line: bytes, payload: Payload) -> bool:
    name = _path_in(line.decode("utf-8", errors="replace"))
    path = re.sub("%(0A|0D|25)", lambda found: bytes.fromhex(found[1]).decode(), name, flags=re.IGNORECASE)
    return path.removeprefix("data/") in payload.stored


def _names_own_tag_file(line: str) -> bool:
    return OWN_TAG_FILES.fullmatch(_path_in(line)) is not None


def _path_in(line: str) -> str:
    """The path that a line of a manifest is about, however it is parted from the checksum."""
    parts = line.strip().split(maxsplit=1)
    return (parts[-1] if parts else "").removeprefix("*").removeprefix("./")
