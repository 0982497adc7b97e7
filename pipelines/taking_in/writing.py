"""Writes the tables of a delivery's result into a folder in ``work/``; nothing of it counts until it is published."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipelines.depot.books.rows import Record, Result
from pipelines.depot.desk import Desk, Opened
from pipelines.depot.keys import file_of
from pipelines.depot.modes import only_for_the_owner
from pipelines.depot.storage import write_table
from pipelines.judging import packed_with
from pipelines.judging.delivery_tables import DELIVERY_TABLES, frame
from pipelines.taking_in.keeping import copy_tag_files
from pipelines.taking_in.naming import other_site
from schemas import core
from schemas.convert.to_arrow import empty_frame
from schemas.model import Table

if TYPE_CHECKING:
    import pandas as pd

#: Fields of bag-info.txt that the depot reads and keeps, beside those of ``pipelines.judging.packed_with``;
#: ``Invented`` is that of the demonstration.
_KEPT_INFO = ("Delivery-Number", "Invented", "Site", "Study")


def every_table(opened: Opened, record: Record, tables: Mapping[Table, pd.DataFrame]) -> dict[Table, pd.DataFrame]:
    """The tables of a result with the delivery's own row: every delivery has every table, if only an empty one."""
    found = {core.DELIVERIES: frame(core.DELIVERIES, [_delivery_row(opened, record)]), **tables}
    return {t: found[t] if t in found else empty_frame(t) for t in dict.fromkeys((*DELIVERY_TABLES, *found))}


def written(desk: Desk, opened: Opened, result: Result, tables: Mapping[Table, pd.DataFrame]) -> Path:
    """A folder in ``work/`` with the tables of a result, and the bag's own files if its bytes are kept."""
    record = result.record
    work = desk.depot.new_work(record.delivery_id)
    for table, rows in tables.items():
        write_table(table, rows, work / file_of(table))
    only_for_the_owner(work / "bag")  # it lists names of files that nobody has looked at
    if record.held and opened.payload is not None:
        came = opened.received.bag_info
        info = {label: came[label] for label in _KEPT_INFO if label in came} | packed_with.kept(came)
        copy_tag_files(opened.payload, work / "bag", result.payload, info)
    return work


def _delivery_row(opened: Opened, record: Record) -> dict[str, Any]:
    files = opened.received.files
    return {
        "delivery_id": record.delivery_id,
        "site": record.site,
        "named_site": other_site(opened.received),
        "delivery_number": record.number,
        "status": record.status,
        "arrived_as": opened.name,
        "fingerprint_sha256": record.fingerprint,
        "received_utc": record.received_utc,
        "payload_count": len(files),
        "payload_bytes": sum(f.bytes for f in files),
        "code_version": record.code_version,
        "study_version": record.study_version,
    }
