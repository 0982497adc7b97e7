"""A bag's own files are written anew from the books where they are lost, so that the delivery can be judged again.

The books know all that is read of them: laboratory, number, and the checksum of every payload file. How a bag is put
together from them is in ``pipelines.taking_in.keeping``.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

from pipelines.depot import keys
from pipelines.depot.books.rows import Payload, Record
from pipelines.depot.desk import Desk
from pipelines.depot.storage import CLOSED_ONLY
from pipelines.depot.verify import Fault
from schemas.study import Study


def tags_anew(desk: Desk, faults: list[Fault]) -> Iterator[str]:
    """Write the bags' own files anew, of deliveries the depot holds whose own are damaged; a line for each delivery."""
    for name in sorted({fault.about for fault in faults if fault.kind == "result"}):
        record, place = desk.books.deliveries.get(name), keys.result(name)
        bag = f"{place}/{keys.BAG}"
        lost = any(fault.about == name and fault.key.startswith(f"{bag}/") for fault in faults)
        if record is None or not record.held or not lost:
            continue
        tags = _tag_files(record, desk.books.deliveries.payload(name), desk.study.study)
        store = desk.depot.store
        store.remove(bag)
        store.shut(bag)
        for path, content in tags.items():
            store.put(f"{bag}/{path}", content, mode=CLOSED_ONLY)
        kept = {path: sha for path, sha in desk.books.files.of(place).items() if not path.startswith(f"{keys.BAG}/")}
        own = {f"{keys.BAG}/{path}": hashlib.sha256(content).hexdigest() for path, content in tags.items()}
        with desk.books.transaction():
            desk.books.files.put(place, kept | own)
        yield f"{desk.depot.store.shown(bag)}: written anew from the books."


def _tag_files(record: Record, payload: Payload, study: Study) -> dict[str, bytes]:
    """Name -> content of the files round a payload. Fields that are only kept, not read, are gone."""
    info = {"Site": record.site, "Study": study.title, "Delivery-Number": record.number}
    if study.invented:
        info["Invented"] = "yes"
    lines = "".join(f"{sha}  data/{_encoded(path)}\n" for path, sha in sorted(payload.stored.items()))
    return {
        "bagit.txt": b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n",
        "bag-info.txt": "".join(f"{label}: {value}\n" for label, value in info.items() if value is not None).encode(),
        "manifest-sha256.txt": lines.encode(),
    }


def _encoded(path: str) -> str:
    """A path as a manifest of BagIt 1.0 names it (RFC 8493, section 2.1.3)."""
    return path.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")
