"""Which trials stand behind the numbers of withheld ones, and why: for a depot's owner, who tells the laboratory."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pipelines.depot.published import read_result
from pipelines.depot.storage import Depot
from pipelines.errors import Unusable
from schemas.quality import FINDINGS
from schemas.received import plain_rows


@dataclass(frozen=True)
class Withheld:
    """A withheld trial. name: by which it goes everywhere else; why: what keeps it out."""

    delivery_id: str
    name: str
    trial_id: str
    why: tuple[str, ...]


def withheld_trials(depot_root: str) -> Iterator[Withheld]:
    """Each withheld trial of the depot.

    Only who may read the books can ask, and they are for their owner. Raises Unusable if there is no depot.
    """
    depot = Depot(depot_root)
    if not depot.exists:
        raise Unusable("There is no depot here.", "a depot.", "Name the depot with --depot.", file=depot.root)
    with depot.opened() as books:
        for delivery_id in depot.delivery_ids():
            named = books.gates.get(delivery_id).withheld
            if not named:
                continue
            why: dict[str, list[str]] = {}
            for row in plain_rows(read_result(depot, delivery_id, FINDINGS)):
                if row["weight"] == "withholds" and row["trial_id"] in named:
                    where = f"{row['place']}: " if row["place"] else ""
                    why.setdefault(row["trial_id"], []).append(f"{where}{row['seen']}")
            for name, trial in sorted(named.items()):
                yield Withheld(delivery_id, name, trial, tuple(dict.fromkeys(why.get(name, ()))))
