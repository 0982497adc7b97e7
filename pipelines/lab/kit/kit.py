"""The kit of a laboratory as one zip: study file and profile, tables to fill in, how to install, check, pack and send.

The study file in it names this laboratory alone and is whole by itself; lists of names, the analysis plan and addresses
stay where they are.
"""

from __future__ import annotations

import hashlib
import io
import json
import tempfile
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from pipelines.depot.disk import write_bytes
from pipelines.depot.new_files import refuse_place
from pipelines.errors import Unusable
from pipelines.judging.packed_with import KIT_FILE
from pipelines.lab.kit.how_to import how_to
from pipelines.lab.kit.templates import EXPLAINED_SHEET, as_csv, delivery_tables, explained, template, workbook
from pipelines.lab.kit.wheel import wheel_bytes
from pipelines.study.file import LoadedStudy, load_study
from pipelines.study.reading import parse, read_bytes
from pipelines.versions import code_version

_NO_DATE = (1980, 1, 1, 0, 0, 0)  # the same kit is the same bytes
#: Settings that concern the depot alone.
_NOT_FOR_LABS = ("judging_again", "answer_within_days", "disclosure", "smallest_cell", "planned_runners")


@dataclass(frozen=True)
class Kit:
    """What was made. version: 8 hex over all files but itself. lacks: what to say of a profile that is not finished."""

    path: Path
    version: str
    files: tuple[str, ...]
    lacks: str | None = None


def write_kit(study_path: Path, site: str, to: Path, wheel: Path | None = None) -> Kit:
    """Write the kit of ``site`` as the new file ``to``, whole or not at all.

    wheel: the file that manystrides is installed from, to be enclosed. Raises Unusable if the study does not know the
    site, ``to`` is there already, or a file cannot be read.
    """
    study = load_study(study_path)
    raw = parse(read_bytes(study_path, "study file"), study_path)
    sites: dict[str, Any] = raw["sites"]
    if site not in sites:
        known = ", ".join(map(str, sites))
        raise Unusable(f"The study has no site {site!r}.", f"one of {known}.", "Name it as in the study file.")
    refuse_place(to)
    if to.suffix.lower() != ".zip":
        raise Unusable("It is no name of a zip.", "a name that ends in .zip.", "Correct --to.", file=to)
    lacks = next((draft.told() for draft in study.drafts if draft.site == site), None)
    files = _files(study, raw, site, wheel, unfinished=lacks is not None)
    _refuse_unusable(files)
    digest = hashlib.sha256(
        "".join(f"{hashlib.sha256(c).hexdigest()} {n}\n" for n, c in sorted(files.items())).encode()
    )
    version = digest.hexdigest()[:8]
    told = {"kit_version": version, "site": site, "study_file_version": study.version, "made_by": code_version()}
    files[KIT_FILE] = (json.dumps(told, indent=1) + "\n").encode()
    write_bytes(to, _zipped(f"kit-{site}", files))
    return Kit(to, version, tuple(sorted(files)), lacks)


def _files(
    study: LoadedStudy, raw: Mapping[str, Any], site: str, wheel: Path | None, *, unfinished: bool
) -> dict[str, bytes]:
    own = raw["sites"][site]
    profile = study.path.parent / own["profile"]
    alone = {name: value for name, value in raw.items() if name not in _NOT_FOR_LABS} | {
        "sites": {site: own | {"profile": f"sites/{site}.yaml"}}
    }
    head = f"# Study file for the site {site} alone, made by manystrides kit. Do not edit it: ask for a newer kit.\n"
    files = {
        "study.yaml": (head + yaml.safe_dump(alone, sort_keys=False, allow_unicode=True)).encode(),
        f"sites/{site}.yaml": read_bytes(profile, f"profile of site {site}"),
        f"tables/{EXPLAINED_SHEET}_explained.csv": as_csv(explained(study.study, site)).encode(),
        "tables.xlsx": _same_bytes(workbook(study.study, site)),
    }
    for table in delivery_tables():
        files[f"tables/{table.file_name}"] = template(table, study.study, site).encode()
    if wheel is not None:
        files[wheel.name] = wheel_bytes(wheel)
    program = wheel.name if wheel is not None else None
    files["START_HERE.txt"] = how_to(study.study, site, program, unfinished=unfinished).encode()
    return files


def _refuse_unusable(files: Mapping[str, bytes]) -> None:
    """Raises Unusable if the study file of the kit does not stand by itself."""
    with tempfile.TemporaryDirectory(prefix="manystrides-kit-") as folder:
        for name in (name for name in files if name.endswith(".yaml")):
            place = Path(folder, name)
            place.parent.mkdir(exist_ok=True)
            place.write_bytes(files[name])
        load_study(Path(folder, "study.yaml"))


def _same_bytes(book: bytes) -> bytes:
    """A workbook without the time it was made at."""
    made, content = io.BytesIO(), zipfile.ZipFile(io.BytesIO(book))
    with content, zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as same:
        for name in content.namelist():
            if name != "docProps/core.xml":
                same.writestr(zipfile.ZipInfo(name, _NO_DATE), content.read(name), zipfile.ZIP_DEFLATED)
    return made.getvalue()


def _zipped(folder: str, files: Mapping[str, bytes]) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as kit:
        for name, content in sorted(files.items()):
            member = zipfile.ZipInfo(f"{folder}/{name}", _NO_DATE)
            member.external_attr = 0o644 << 16
            kit.writestr(member, content, zipfile.ZIP_DEFLATED)
    return made.getvalue()
