"""Writes a depot's state as manystrides did before there were books: many files of JSON. Kept to test the upgrade."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from pipelines.depot.books.book import Books
from pipelines.depot.books.rows import Record
from pipelines.depot.books.tables import DEPOT
from pipelines.depot.books.withdrawal_tables import WITHDRAWALS, WITHDRAWN_FILES
from pipelines.depot.storage import Depot


def write_as_before(root: Path) -> None:
    """Turn a depot with books into one of the form before, in place."""
    depot = Depot(root)
    with depot.opened() as books:
        for record in books.deliveries.all():
            _json(depot.result(record.delivery_id).local("record.json"), _record(books, record))
            if record.taken_in:
                gate = asdict(books.gates.get(record.delivery_id))
                told = {name: gate[name] for name in ("runners", "events", "withheld", "files", "runner_of", "tables")}
                _json(root / "consents" / f"{record.delivery_id}.json", told)
        for (site, name), known in books.arrivals.all().items():
            _json(root / "arrivals" / site / f"{name}.json", asdict(known))
        _json(root / "consents" / "withdrawn.json", _withdrawn(books))
        _json(root / "overrides.json", [asdict(o) for o in books.decisions.all()])
        shelf = [asdict(entry) for entry in books.releases.all()]
        _json(root / "releases" / "releases.json", [_without(e, "ledger_sequence", "ledger_hash") for e in shelf])
        (root / "ledger.jsonl").write_text("".join(f"{entry.line()}\n" for entry in books.ledger.entries()))
        head = books.builds.reached()
        assert head is not None
        _json(root / "built.json", {"from": books.builds.made_from(), "ledger": asdict(head)})
    for path in root.glob("books.*"):
        path.unlink()


def _record(books: Books, record: Record) -> dict[str, Any]:
    payload, trials = books.deliveries.payload(record.delivery_id), books.trials.of_delivery(record.delivery_id)
    accepted = {t.trial_id: t.parts for t in trials if t.standing == "accepted"}
    compared = sorted((t.trial_id, (t.before_delivery, t.before_parts)) for t in trials if t.before_delivery)
    return {
        **_without(asdict(record), "held"),
        "stored": dict(payload.stored),
        "closed": sorted(payload.closed),
        "waiting": books.deliveries.waiting(record.delivery_id),
        "consents": hashlib.sha256(record.result.encode()).hexdigest() if record.taken_in else "",
        "accepted": accepted,
        "compared": hashlib.sha256(repr(compared).encode()).hexdigest() if compared else "",
        "resends": {t.trial_id: t.resend for t in trials if t.resend},
    }


def _withdrawn(books: Books) -> dict[str, Any]:
    with books.reading() as connection:
        files: dict[str, list[str]] = {}
        for tombstone, file in connection.execute(sa.select(WITHDRAWN_FILES.c.tombstone, WITHDRAWN_FILES.c.file)):
            files.setdefault(tombstone, []).append(file)
        withdrawals = [
            {"tombstone": tombstone, "runner": runner, "scopes": [scope], "files": files.get(tombstone, [])}
            for tombstone, runner, scope in connection.execute(sa.select(WITHDRAWALS))
        ]
        return {"key": connection.scalar(sa.select(DEPOT.c.key)), "withdrawals": withdrawals}


def _without(row: dict[str, Any], *names: str) -> dict[str, Any]:
    return {name: value for name, value in row.items() if name not in names}


def _json(path: Path, value: Any) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(json.dumps(value, indent=1, sort_keys=True, ensure_ascii=False) + "\n", encoding="utf-8")
