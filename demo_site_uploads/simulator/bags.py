"""Packs a delivery as a BagIt bag with the bagit library, as a folder or as a ZIP file, without dates."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path

from demo_site_uploads.simulator.tables import REQUIRED
from schemas.convert.to_frictionless import data_package
from schemas.model import Table

STUDY_TITLE = "The Fellside footwear study"
NOTE = "Invented demonstration data. Simulated runners and laboratories; no person was measured."
_NO_DATE = (1980, 1, 1, 0, 0, 0)  # the earliest a ZIP file can hold


def descriptor(name: str, tables: Sequence[Table] = REQUIRED, left_out: Mapping[str, set[str]] | None = None) -> bytes:
    """datapackage.json of a payload that holds ``tables``. left_out: columns a table does not have, if not its usual ones."""
    usual = {t.name: {f.name for f in t.fields if f.may_be_left_out} for t in tables}
    content = data_package(tables, name, f"{STUDY_TITLE}: {name}", usual | dict(left_out or {}))
    content["description"] = NOTE
    return (json.dumps(content, indent=1, ensure_ascii=False) + "\n").encode("utf-8")


def bag_info(site: str | None, number: int | None) -> dict[str, str]:
    """The fields of bag-info.txt; None leaves a field out."""
    info = {"Contact-Role": "laboratory engineer", "Invented": "yes", "Study": STUDY_TITLE}
    if site is not None:
        info["Site"] = site
    if number is not None:
        info["Delivery-Number"] = str(number)
    return info


def make_bag(folder: Path, payload: dict[str, bytes], info: dict[str, str]) -> Path:
    """Write ``payload`` (path in data/ -> content) as a bag into the new ``folder``."""
    import bagit

    folder.mkdir(parents=True)
    for path, content in sorted(payload.items()):
        target = folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
    bag = bagit.make_bag(str(folder), bag_info=dict(info), checksums=["sha256"])
    for field in ("Bagging-Date", "Bag-Software-Agent"):  # would differ from day to day and version to version
        del bag.info[field]
    bag.save()
    tags = folder / "tagmanifest-sha256.txt"  # written in the order in which the file system lists them
    tags.write_text("".join(sorted(tags.read_text().splitlines(keepends=True), key=lambda line: line.split()[1])))
    return folder


def zip_bag(folder: Path, target: Path, more: dict[str, bytes] | None = None) -> Path:
    """ZIP the bag in ``folder`` to ``target``, with one fixed time for all members; ``more``: further members."""
    with zipfile.ZipFile(target, "w") as archive:
        for path in sorted(p for p in folder.rglob("*") if p.is_file()):
            _add(archive, f"{folder.name}/{path.relative_to(folder).as_posix()}", path.read_bytes())
        for name, content in (more or {}).items():
            _add(archive, name, content)
    return target


def _add(archive: zipfile.ZipFile, name: str, content: bytes) -> None:
    member = zipfile.ZipInfo(name, _NO_DATE)
    member.compress_type = zipfile.ZIP_DEFLATED
    member.external_attr = 0o644 << 16
    member.create_system = 3
    archive.writestr(member, content, compresslevel=9)
