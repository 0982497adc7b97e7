"""A depot is mended: bytes from their sources, then what is damaged still is judged and built again by the graph.

What can be mended from where is in ``pipelines.taking_in.repairing``.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path

from pipelines.assets.run import carry_out
from pipelines.depot.books.where import FILE
from pipelines.depot.guarding import end_of_command
from pipelines.depot.keys import WAREHOUSE
from pipelines.depot.ledger import Head
from pipelines.depot.storage import Depot
from pipelines.depot.verify import Fault, verify
from pipelines.progress import Progress
from pipelines.study.file import load_study
from pipelines.taking_in.batch import Bench, what_a_change_moves
from pipelines.taking_in.opening import open_desk
from pipelines.taking_in.repairing import Sources, StopError, books_back, bytes_back, damaged_results, forget
from pipelines.taking_in.summary import Summary
from pipelines.taking_in.tags_anew import tags_anew


@dataclass
class Repaired:
    """What was found, what was mended and from where, and what is left.

    refused: what a waiting change would have moved had they been judged again; that is for a run to publish.
    """

    found: list[Fault]
    mended: list[str] = field(default_factory=list)
    left: list[Fault] = field(default_factory=list)
    refused: str | None = None


def repair(study_path: Path, depot: Depot, by: str, sources: Sources, exported: Head | None = None) -> Repaired:
    """Mend a depot as far as there are sources. Raises Unusable if it cannot be held, or the study file is unusable."""
    study = load_study(study_path)
    with depot.alone(by):
        done = Repaired(verify(depot, exported))
        done.mended += books_back(depot, done.found, sources)
        faults = verify(depot, exported)
        if not any(fault.kind == "books" and fault.file.name == FILE for fault in faults):
            with depot.opened(to_write=True), suppress(StopError):
                done.mended += bytes_back(depot, faults, sources)
                with open_desk(depot, study, by) as desk:
                    left = verify(depot, exported)
                    tags = list(tags_anew(desk, left))
                    done.mended += tags
                    bench = Bench(desk, None, Progress(), Summary(depot), rebuild=True)
                    done.mended += _made_again(bench, verify(depot, exported) if tags else left, done)
                    if done.mended:
                        told = {"found": len(done.found), "mended": len(done.mended)}
                        desk.ledger.write("repaired", "depot", "manystrides verify found faults.", **told)
            end_of_command(depot)
        done.left = [_still_there(fault, done.refused) for fault in verify(depot, exported)]
    return done


#: What helps where repairing did not.
_LOST = "No source holds these bytes. Name a backup that does with --from, or have the site send it again."
_HELPS: Mapping[str, str] = {
    "books": "Run manystrides restore with a backup in which they are whole.",
    "head": "Nothing was repaired: with it lost, only books and register that agree and know every file can tell that "
    "no withdrawal is forgotten. Put back all of one day with manystrides restore.",
    "register": "Put a copy of it that is whole in its place.",
    "raw": _LOST,
    "closed": _LOST,
    "result": _LOST,
    "release": "No source holds these bytes. Name a backup that does with --from, or freeze a new release.",
    "built": "It is built anew when the other faults are corrected.",
}


def _still_there(fault: Fault, refused: str | None) -> Fault:
    """The fault as it is told after repairing: that again is no help."""
    if refused is not None and fault.kind in ("result", "built"):
        remedy = f"{refused}\nTake that back and repair, or let manystrides run publish it, which asks."
        return replace(fault, remedy=remedy)
    return replace(fault, remedy=_HELPS[fault.kind]) if "--repair" in fault.remedy else fault


def _made_again(bench: Bench, faults: list[Fault], done: Repaired) -> Iterator[str]:
    """Results judged again from raw, or left to the inbox; warehouse and pages built anew.

    Nothing of it where that would move trials since a change of code or settings waits, which is then noted in done.
    """
    desk, depot = bench.desk, bench.desk.depot
    again, others = damaged_results(depot, faults)
    records = [record for name in again if (record := desk.books.deliveries.get(name)) is not None]
    done.refused = what_a_change_moves(bench, records)
    if done.refused is not None:
        return
    for name in others:
        forget(desk, name)
        yield f"{depot.result(name).shown()}: forgotten; the next run takes it in again if it is in the inbox still."
    if not any(fault.kind in ("built", "result") for fault in faults):
        return
    depot.store.remove(WAREHOUSE)  # nothing of it is used
    carry_out(replace(bench, damaged=tuple(again)))
    judged = {done.record.delivery_id for done in bench.summary.done}
    yield from (
        f"{depot.result(name).shown()}: judged again from the depot's raw files." for name in again if name in judged
    )
    yield from bench.summary.left_for_a_yes
    yield f"{depot.warehouse}, {depot.pages.shown()}: built anew."
