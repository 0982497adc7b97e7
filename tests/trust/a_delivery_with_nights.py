"""``python -m tests.trust.a_delivery_with_nights DEPOT``: takes a delivery with nights of sleep the whole way.

Works only where a table ``sent_sleep`` is defined; the last line of the output is what was seen, as JSON.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import duckdb

import schemas
from demo_site_uploads.simulator.tables import consent_rows, csv_bytes
from pipelines.assets.deciding import release, withdraw
from pipelines.assets.run import run
from pipelines.depot.keys import file_of
from pipelines.depot.search_bytes import files_with
from pipelines.depot.storage import Depot, read_table
from schemas.catalogue import TABLES
from schemas.delivery import SENT_CONSENTS
from tests.delivery_builders import STUDY, a_delivery, leaving, planned

AGREES, NOT_TO_GAS, NOBODY_ASKED = "FS-01", "FS-02", "FS-77"
MINUTES = {AGREES: 411.0625, NOT_TO_GAS: 422.0625, NOBODY_ASKED: 433.0625}
_COLUMNS = ["participant_id", "slept_min"]


def _send(inbox: Path) -> None:
    """Nights of a runner who agreed, of one who did not agree to breathing gas, and of one whom nobody asked."""
    nights: list[dict[str, Any]] = [
        {"participant_id": runner, "study_day": 3, "slept_min": minutes, "remark": f"counted {minutes:.0f} sheep"}
        for runner, minutes in MINUTES.items()
    ]
    nights.append({"participant_id": NOT_TO_GAS, "study_day": 4, "slept_min": "1777,5", "remark": None})
    events = [row for r in (AGREES, NOT_TO_GAS) for row in consent_rows(planned(r, "standing")[0].session.runner)]
    events = [row for row in events if (row["participant_id"], row["scope"]) != (NOT_TO_GAS, "metabolic")]
    files = {"sleep.csv": csv_bytes(TABLES["sent_sleep"], nights), "consents.csv": csv_bytes(SENT_CONSENTS, events)}
    a_delivery(inbox, runners=(AGREES, NOT_TO_GAS), names=("standing",), replace_files=files)


def _in_the_open(depot: Depot, *words: str) -> list[str]:
    """Live files with one of the words, in their bytes or in their values."""
    return [path.relative_to(depot.root).as_posix() for path in files_with(depot, words)[1]]


def go(folder: Path) -> dict[str, Any]:
    """Send, run, release, withdraw; what was seen after each."""
    depot, inbox = Depot(folder / "depot"), folder / "inbox"
    _send(inbox)
    run(STUDY, inbox, depot.root, "tester", workers=1)
    pooled = TABLES["reported_sleep"]
    findings = read_table(depot.result("brack-001").local(file_of(TABLES["findings"])))
    with duckdb.connect(str(depot.warehouse), read_only=True) as connection:
        warehouse = connection.execute("SELECT participant_id, slept_min FROM reported_sleep").fetchall()
    values = (str(MINUTES[NOT_TO_GAS]), str(MINUTES[NOBODY_ASKED]), "422 sheep", "433 sheep", "1777,5")
    seen = {
        "code": str(Path(str(schemas.__file__)).parent),
        "pooled": read_table(depot.result("brack-001").local(file_of(pooled)))[_COLUMNS].to_numpy().tolist(),
        "warehouse": [list(row) for row in warehouse],
        "consented values in the open": _in_the_open(depot, str(MINUTES[AGREES])),
        "unconsented values in the open": _in_the_open(depot, *values),
        "names of those nobody asked in the open": _in_the_open(depot, NOBODY_ASKED),
        "told": findings.loc[findings["file"] == "sleep.csv", "seen"].tolist(),
    }
    frozen = release(STUDY, depot.root, "the nights", "tester").folder
    seen["released"] = read_table(frozen / "tables" / "reported_sleep.parquet").columns.tolist()
    withdraw(STUDY, depot.root, leaving(AGREES, "metabolic"))
    seen["pooled after"] = read_table(depot.result("brack-001").local(file_of(pooled)))[_COLUMNS].to_numpy().tolist()
    kept = [p for place in (depot.root / "raw", depot.root / "closed") for p in place.rglob("*") if p.is_file()]
    seen["bytes after"] = [p.name for p in kept if str(MINUTES[AGREES]).encode() in p.read_bytes()]
    seen["runners after"] = sorted(
        read_table(depot.result("brack-001").local(file_of(TABLES["trials"])))["participant_id"]
    )
    return seen


if __name__ == "__main__":
    print(json.dumps(go(Path(sys.argv[1]))))
