"""``python -m tests.docs.adding_a_check FOLDER DELIVERY``: takes in one delivery of the demonstration.

The last line of the output is what was found in it, as JSON: trial, check, weight. Used in a copy of the code.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

from demo_site_uploads.simulator.plan import deliveries
from pipelines.assets.run import run
from pipelines.depot.keys import file_of
from pipelines.depot.storage import Depot, read_table
from schemas.quality import FINDINGS
from tests.delivery_builders import STUDY


def found_in(folder: Path, name: str) -> list[list[str]]:
    """Take the delivery in, and what the checks found."""
    (delivery,) = (d for d in deliveries() if d.arrives_as == f"{name}.zip")
    (folder / "inbox").mkdir(parents=True)
    delivery.pack(folder / "inbox", folder)
    run(STUDY, folder / "inbox", folder / "depot", "tester", workers=1)
    rows = read_table(Depot(folder / "depot").result(name).local(file_of(FINDINGS)))
    return [[str(cell) for cell in row] for row in rows[["trial_id", "check_name", "weight"]].to_numpy()]


if __name__ == "__main__":
    print(json.dumps(found_in(Path(sys.argv[1]), sys.argv[2])))
