"""The words round the tables of a release: README, dictionary, Frictionless descriptor, RO-Crate, checksums.

RO-Crate Metadata Specification 1.1 (a JSON-LD file named ``ro-crate-metadata.json`` in the root, whose context is
named by address and never fetched); Frictionless Data Package as everywhere here.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipelines.depot.books.rows import Entry
from pipelines.release.changes import Changes
from pipelines.release.contents import released_tables
from pipelines.release.disclose import lines as lines_of
from pipelines.release.disclose import report
from pipelines.release.generalise import Told
from schemas.convert.to_frictionless import table_schema
from schemas.convert.to_markdown import index_page, markdown_table, table_page

if TYPE_CHECKING:
    import pandas as pd

    from schemas.model import Table
    from schemas.study import Study

_CONTEXT = "https://w3id.org/ro/crate/1.1/context"
_PROFILE = "https://w3id.org/ro/crate/1.1"
_OPENLY = "- Only runners who agreed to open sharing are in it, and only tables whose rows lead to one."
LIKENESS = (
    "- **What is left of a risk**: bodies can still be guessed at by likeness, since tall runners take longer steps. "
    "Who knows the true stature or mass of most runners here can guess that of another from these numbers, closer than "
    "its band. How close depends on how much else runners differ in; `python -m benchmarks.likeness` of the code "
    "measures it on a depot."
)
CAUTION = (
    "These are data of people under pseudonyms, not anonymous data: the sites can tell who is who. Keep them as "
    "the consent and your local rules for personal data say, do not try to know anybody again, do not pass them on. "
    "Nothing here is a diagnosis, and no change of footwear should be advised from it without licensed practice."
)


def describe(
    folder: Path,
    study: Study,
    entry: Entry,
    changes: Changes,
    trials: pd.DataFrame,
    told: Told,
    *,
    openly: bool = False,
) -> None:
    """Write every descriptive file into ``folder``, which holds ``tables/`` and ``warehouse.duckdb``."""
    (folder / "dictionary").mkdir()
    tables = [table for table in released_tables() if (folder / "tables" / f"{table.name}.parquet").exists()]
    for table in tables:
        (folder / "dictionary" / f"{table.name}.md").write_text(table_page(table), encoding="utf-8")
    (folder / "dictionary" / "index.md").write_text(index_page(tables), encoding="utf-8")
    (folder / "README.md").write_text(_readme(study, entry, changes, trials, told, openly), encoding="utf-8")
    _write_json(folder / "datapackage.json", _package(study, entry, tables))
    _write_json(folder / "disclosure.json", report(told))
    _write_json(folder / "ro-crate-metadata.json", _crate(folder, study, entry))
    sums = [f"{_sha(p)}  {p.relative_to(folder).as_posix()}\n" for p in _files(folder)]
    (folder / "sha256sums.txt").write_text("".join(sums), encoding="utf-8")


def _readme(study: Study, entry: Entry, changes: Changes, trials: pd.DataFrame, told: Told, openly: bool) -> str:
    invented = ["**Invented data of a demonstration: no person was measured.**", ""] if study.invented else []
    lines = [
        f"# {study.title}, release {entry.number}",
        "",
        *invented,
        CAUTION,
        "",
        f"- Frozen: {entry.utc}, by {entry.actor}: {entry.why}",
        f"- Code: manystrides {entry.code_version}; study file {entry.study_version}",
        f"- Cite as: {study.citation or study.title} Release {entry.number}, content {entry.content_sha256[:16]}.",
        f"- The ledger reached entry {entry.ledger_sequence} then, with hash {entry.ledger_hash}; `manystrides ledger "
        "verify` compares.",
        "- Consent of every runner was looked up again at the moment of freezing.",
        *([_OPENLY] if openly else []),
        *lines_of(told),
        "- Findings, decisions on them, cautions for the safety lead, answers about health, positions of markers in "
        "standing, free texts and names of files do not leave the depot.",
        "- Nor does what would tell a runner's mass or leg length by a formula: values in units that grow with body "
        "mass, such as stiffness; standard uncertainties; curves of force and angles of one trial; moments of one "
        "runner. "
        "Curves of the plan and moments as estimates over runners are here.",
        LIKENESS,
        "",
        "## What is here",
        "",
        "- `tables/`: one Parquet file a table, units and words inside; `datapackage.json` describes them",
        "- `warehouse.duckdb`: the same tables with views, for DuckDB",
        "- `dictionary/`: what every table and column means",
        "- `disclosure.json`: how exactly runners are described, and what that cost",
        "- `ro-crate-metadata.json`: the release as an RO-Crate",
        "- `sha256sums.txt`: checksums; check them with `sha256sum -c sha256sums.txt`",
        "",
        "## Runners and trials",
        "",
        *_counts(trials, study.smallest_cell),
        "",
        "## Changes since the release before" if entry.number > 1 else "## The first release",
        "",
        *changes.lines(),
    ]
    return "\n".join(lines) + "\n"


def _counts(trials: pd.DataFrame, smallest: int) -> list[str]:
    rows = []
    for (site, visit, condition), own in trials.groupby(["site", "visit", "condition"], sort=True):
        runners = own["participant_id"].nunique()
        shown = (str(runners), str(len(own))) if runners >= smallest else (f"fewer than {smallest}", "not given")
        rows.append((str(site), str(visit), str(condition), *shown))
    return markdown_table(("Laboratory", "Visit", "Condition", "Runners", "Trials"), rows)


def _package(study: Study, entry: Entry, tables: list[Table]) -> dict[str, Any]:
    names = [table.name for table in tables]
    return {
        "name": entry.name,
        "title": f"{study.title}, release {entry.number}",
        "version": str(entry.number),
        "created": entry.utc,
        "resources": [
            {
                "name": table.name,
                "path": f"tables/{table.name}.parquet",
                "description": f"One row is {table.one_row_is}.",
                "format": "parquet",
                "mediatype": "application/vnd.apache.parquet",
                "schema": table_schema(table, beside=names),
            }
            for table in tables
        ],
    }


def _crate(folder: Path, study: Study, entry: Entry) -> dict[str, Any]:
    files = _files(folder)
    described = {table.name: f"One row is {table.one_row_is}." for table in released_tables()}
    parts = [
        {
            "@id": p.relative_to(folder).as_posix(),
            "@type": "File",
            "name": p.name,
            "contentSize": str(p.stat().st_size),
            **({"description": described[p.stem]} if p.suffix == ".parquet" else {}),
        }
        for p in files
    ]
    root = {
        "@id": "./",
        "@type": "Dataset",
        "name": f"{study.title}, release {entry.number}",
        "description": CAUTION,
        "datePublished": entry.utc,
        "version": str(entry.number),
        "creditText": study.citation or study.title,
        "conditionsOfAccess": "Data of people: only as the consent and local rules allow.",
        "license": "No licence is given: data of people, used only as the consent and local rules allow.",
        "hasPart": [{"@id": part["@id"]} for part in parts],
    }
    about = {
        "@id": "ro-crate-metadata.json",
        "@type": "CreativeWork",
        "conformsTo": {"@id": _PROFILE},
        "about": {"@id": "./"},
    }
    made = {
        "@id": "#made",
        "@type": "CreateAction",
        "instrument": {"@id": "#manystrides"},
        "result": {"@id": "./"},
        "endTime": entry.utc,
    }
    code = {"@id": "#manystrides", "@type": "SoftwareApplication", "name": "manystrides", "version": entry.code_version}
    return {"@context": _CONTEXT, "@graph": [about, root, made, code, *parts]}


def _files(folder: Path) -> list[Path]:
    return sorted(p for p in folder.rglob("*") if p.is_file() and p.name != "ro-crate-metadata.json")


def _write_json(path: Path, value: Any) -> None:
    path.write_text(json.dumps(value, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def _sha(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
