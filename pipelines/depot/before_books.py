"""A depot of the form before there were books: its state in many files, read to the last and verified.

Nothing is written here, and nothing unread is passed over: a file that cannot be understood ends it. What becomes of it
is in ``pipelines.depot.upgrade``.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pipelines.depot.books.rows import (
    Decision,
    Gate,
    Known,
    Occasion,
    Override,
    Parts,
    Payload,
    Record,
    Result,
    TrialVersion,
    Withdrawal,
)
from pipelines.depot.books.rows import Entry as Release
from pipelines.depot.ledger import Entry, Head, Reached, verify
from pipelines.errors import Unusable

T = TypeVar("T")
RECORD = "record.json"
LEDGER, BUILT, OVERRIDES, SHELF = "ledger.jsonl", "built.json", "overrides.json", "releases/releases.json"
ARRIVALS, CONSENTS, WITHDRAWN = "arrivals", "consents", "withdrawn.json"


@dataclass(frozen=True)
class Before:
    """All that the files say. key: by which withdrawn runners are known; torn: the rest of a line of the ledger."""

    results: tuple[Result, ...]
    arrivals: dict[tuple[str, str], Known]
    withdrawals: tuple[Withdrawal, ...]
    key: str | None
    overrides: tuple[Override, ...]
    releases: tuple[Release, ...]
    ledger: tuple[Entry, ...]
    torn: str
    built: tuple[str, Head] | None


def is_there(root: Path) -> bool:
    """Whether the folder holds state in the form before there were books."""
    return any(True for _ in old_files(root))


def old_files(root: Path) -> Iterator[Path]:
    """Every file or folder of that state."""
    for name in (LEDGER, BUILT, OVERRIDES, SHELF, ARRIVALS, CONSENTS):
        if (root / name).exists():
            yield root / name
    yield from sorted((root / "deliveries").glob(f"*/{RECORD}"))


def read(root: Path) -> Before:
    """Everything. Raises Unusable, naming the file, if any of it cannot be understood or the ledger is not whole."""
    built = _json(root / BUILT, _built) if (root / BUILT).exists() else None
    ledger, torn = _ledger(root / LEDGER, built)
    withdrawn = root / CONSENTS / WITHDRAWN
    key, withdrawals = _json(withdrawn, _withdrawals) if withdrawn.exists() else (None, ())
    paths = sorted((root / "deliveries").glob(f"*/{RECORD}"))
    records = [_json(path, lambda content: content) for path in paths]
    by_path = zip(paths, records, strict=True)
    return Before(
        tuple(_told(path, lambda p=path, r=content: _result(root, p, r)) for path, content in by_path),  # type: ignore[misc]
        dict(_json(path, lambda c, p=path: ((p.parent.name, p.stem), Known(**c))) for path in _arrivals(root)),  # type: ignore[misc]
        withdrawals,
        key,
        _json(root / OVERRIDES, _overrides) if (root / OVERRIDES).exists() else (),
        _json(root / SHELF, _releases) if (root / SHELF).exists() else (),
        ledger,
        torn,
        built,
    )


def _arrivals(root: Path) -> list[Path]:
    return sorted((root / ARRIVALS).glob("*/*.json"))


def _json(path: Path, made: Callable[[Any], T]) -> T:
    def read_it() -> T:
        return made(json.loads(path.read_text(encoding="utf-8")))

    return _told(path, read_it)


def _told(path: Path, read_it: Callable[[], T]) -> T:
    try:
        return read_it()
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise Unusable(
            f"It cannot be understood: {type(error).__name__}: {error}.",
            "a file that the older manystrides wrote.",
            "Put it back from your backup; nothing was changed.",
            file=path,
        ) from None


# -- ledger ----------------------------------------------------------------------------------------------------------


def _ledger(path: Path, built: tuple[str, Head] | None) -> tuple[tuple[Entry, ...], str]:
    lines = path.read_bytes().splitlines(keepends=True) if path.exists() else []
    torn = lines.pop().decode(errors="backslashreplace") if lines and not lines[-1].endswith(b"\n") else ""
    entries = tuple(_told(path, lambda line=line: Entry(**json.loads(line))) for line in lines)  # type: ignore[misc]
    reached = [Reached(built[1], "the last build")] if built is not None else []
    for problem in verify(entries, reached):
        raise Unusable(
            f"The ledger is not whole: {problem.text}.",
            "a ledger in which nothing was changed.",
            "Find out what happened to it, and put it back from your backup; nothing was changed.",
            file=path,
            place=f"line {problem.line}",
        )
    return entries, torn


def _built(content: dict[str, Any]) -> tuple[str, Head]:
    return str(content["from"]), Head(**content["ledger"])


# -- deliveries ------------------------------------------------------------------------------------------------------


def _result(root: Path, path: Path, content: dict[str, Any]) -> Result:
    own = dict(content)
    stored, closed = dict(own.pop("stored")), frozenset(own.pop("closed"))
    waiting: tuple[Occasion, ...] = tuple((str(s), str(c)) for s, c in own.pop("waiting"))
    accepted: dict[str, Parts] = {trial: tuple(parts) for trial, parts in own.pop("accepted").items()}
    resends = dict(own.pop("resends"))
    own.pop("consents"), own.pop("compared")  # of a delivery that is judged again with the first run
    record = Record(**own, held=bool(stored))
    told = root / CONSENTS / f"{record.delivery_id}.json"
    gate = _json(told, _gate) if told.exists() else None
    trials = tuple(_trials(path.parent, record, accepted, resends, gate or Gate()))
    return Result(record, Payload(stored, closed), waiting, trials, gate=gate)


def _trials(
    folder: Path, record: Record, accepted: dict[str, Parts], resends: dict[str, str], gate: Gate
) -> Iterator[TrialVersion]:
    from pipelines.depot.storage import read_table

    if not record.taken_in:
        return
    pooled = read_table(folder / "trials.parquet").set_index("trial_id")
    postures = set(read_table(folder / "standing_postures.parquet")["trial_id"])
    for row in read_table(folder / "standings.parquet").astype(object).to_dict("records"):
        trial = str(row["trial_id"])
        version = TrialVersion(record.delivery_id, trial, str(record.site), str(row["standing"]))
        if trial in pooled.index:
            own = pooled.loc[trial]
            version = TrialVersion(
                *(record.delivery_id, trial, str(record.site), version.standing),
                kind=str(own["kind"]),
                session_id=str(own["session_id"]),
                condition=str(own["condition"]),
                raw_sha256=str(own["raw_sha256"]),
                second_sha256=next(iter(gate.files.get(trial, [])[1:]), None),
                gives_posture=trial in postures,
                parts=accepted.get(trial, ()),
                resend=resends.get(trial, ""),
            )
        yield version


def _gate(content: dict[str, Any]) -> Gate:
    """What the delivery told. What its own gate rested on is left open, so that it is looked up again."""
    events = tuple((str(r), s, str(e), d) for r, s, e, d in content["events"])
    files = {str(trial): [str(sha) for sha in shas] for trial, shas in content["files"].items()}
    return Gate(
        tuple(content["runners"]),
        events,
        dict(content["withheld"]),
        files,
        dict(content["runner_of"]),
        tuple(content["tables"]),
    )


# -- what people decided ---------------------------------------------------------------------------------------------


def _withdrawals(content: dict[str, Any]) -> tuple[str, tuple[Withdrawal, ...]]:
    bytes.fromhex(content["key"])
    return content["key"], tuple(
        Withdrawal(w["tombstone"], w["runner"], scope, tuple(w["files"]))
        for w in content["withdrawals"]
        for scope in w["scopes"]
    )


def _overrides(content: list[dict[str, Any]]) -> tuple[Override, ...]:
    return tuple(
        Override(
            **{
                **one,
                "files": tuple(one["files"]),
                "decided": Decision(**one["decided"]),
                "taken_back": Decision(**one["taken_back"]) if one["taken_back"] else None,
            }
        )
        for one in content
    )


def _releases(content: list[dict[str, Any]]) -> tuple[Release, ...]:
    return tuple(Release(**one) for one in content)
