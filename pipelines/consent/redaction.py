"""Takes a withdrawn runner's rows and files out of a bag that the depot holds, and makes its manifests fit again.

Every line that stays is left as it was, byte for byte. Who has withdrawn what is known to ``pipelines.depot.consents``.
"""

from __future__ import annotations

import csv
import hashlib
import re
from collections.abc import Callable, Iterator
from pathlib import Path

from pipelines.depot.consents import EVERY_SCOPE, WHOLE_TRIAL
from pipelines.depot.storage import write_bytes

Row = dict[str, str]
#: What a runner has withdrawn, by id.
ScopesOf = Callable[[str], set[str]]

_MANIFEST_LINE = re.compile(r"([0-9A-Fa-f]+)([ \t]+\*?)(.+)")
_OXUM = re.compile(rb"(?im)^(payload-oxum\s*:\s*)[0-9]+\.[0-9]+")


def redact(bag: Path, scopes_of: ScopesOf) -> list[str]:
    """Take out of ``bag`` what its runners have withdrawn; returns the payload paths that were changed or removed."""
    data = bag / "data"
    session_of = {r["session_id"]: r["participant_id"] for r in _rows(data / "sessions.csv") if _has(r, "session_id")}
    trials = _rows(data / "trials.csv")
    runner_of = {r["trial_id"]: session_of.get(r.get("session_id") or "", "") for r in trials if _has(r, "trial_id")}

    def gone(runner: str | None, *scopes: str) -> bool:
        return bool(runner) and bool(scopes_of(str(runner)) & {EVERY_SCOPE, "pooling", *scopes})

    def whole_trial(trial: str | None) -> bool:
        return gone(runner_of.get(trial or ""), *WHOLE_TRIAL)

    outgoing: dict[str, Callable[[Row], bool]] = {
        "trials.csv": lambda r: whole_trial(r.get("trial_id")),
        "channels.csv": lambda r: (
            whole_trial(r.get("trial_id"))
            or (r.get("role") == "muscle" and gone(runner_of.get(r.get("trial_id") or ""), "muscle"))
        ),
        "breaths.csv": lambda r: gone(session_of.get(r.get("session_id") or ""), "metabolic"),
        **{name: lambda r: gone(r.get("participant_id")) for name in ("weeks.csv", "symptoms.csv", "sessions.csv")},
        **{name: lambda r: gone(r.get("participant_id")) for name in ("participants.csv", "consents.csv")},
    }
    kept_files = {r.get(c) for r in trials if not whole_trial(r.get("trial_id")) for c in ("file", "sidecar")}
    gone_files = {r.get(c) for r in trials if whole_trial(r.get("trial_id")) for c in ("file", "sidecar")}
    touched = [str(path) for path in sorted(p for p in gone_files - kept_files if p)]
    for path in touched:
        (data / path).unlink(missing_ok=True)
    touched += [name for name, is_out in outgoing.items() if _drop_lines(data / name, is_out)]
    if touched:
        _fit_manifests(bag)
    return touched


def _has(row: Row, name: str) -> bool:
    return bool(row.get(name)) and row.get("participant_id", "-") is not None


def _records(text: str) -> Iterator[tuple[list[str], str]]:
    """Each record's cells and its text as it stands in the file."""
    lines = text.splitlines(keepends=True)
    reader, before = csv.reader(lines), 0
    for cells in reader:
        yield cells, "".join(lines[before : reader.line_num])
        before = reader.line_num


def _text(path: Path) -> str:
    return path.read_bytes().decode("utf-8-sig") if path.is_file() else ""


def _rows(path: Path) -> list[Row]:
    records = [cells for cells, _ in _records(_text(path))]
    return [dict(zip(records[0], (c.strip() for c in cells), strict=False)) for cells in records[1:] if cells]


def _drop_lines(path: Path, is_out: Callable[[Row], bool]) -> bool:
    records = list(_records(_text(path)))
    if not records:
        return False
    names = records[0][0]
    out = [bool(cells) and is_out(dict(zip(names, (c.strip() for c in cells), strict=False))) for cells, _ in records]
    out[0] = False
    if not any(out):
        return False
    kept = "".join(line for (_, line), is_gone in zip(records, out, strict=True) if not is_gone)
    write_bytes(path, kept.encode("utf-8"))  # a new file: the old one may be a second name of bytes in the store
    return True


def _fit_manifests(bag: Path) -> None:
    """Give the manifests and the payload's size the values of what is there now; tag manifests last."""
    files = [p for p in (bag / "data").rglob("*") if p.is_file()]
    oxum = f"{sum(p.stat().st_size for p in files)}.{len(files)}".encode()
    info = bag / "bag-info.txt"
    if info.is_file():
        write_bytes(info, _OXUM.sub(lambda found: found[1] + oxum, info.read_bytes()))
    for manifest in sorted(bag.glob("manifest-*.txt")):
        _fit(manifest, bag)
    for manifest in sorted(bag.glob("tagmanifest-*.txt")):
        _fit(manifest, bag)


def _fit(manifest: Path, bag: Path) -> None:
    algorithm = manifest.stem.rpartition("-")[2]
    lines = []
    for line in manifest.read_text(encoding="utf-8").splitlines():
        found = _MANIFEST_LINE.fullmatch(line)
        place = bag / found[3] if found else None
        if found and place is not None and place.is_file():
            lines.append(f"{hashlib.new(algorithm, place.read_bytes()).hexdigest()}{found[2]}{found[3]}")
    write_bytes(manifest, ("\n".join(lines) + "\n").encode("utf-8"))
