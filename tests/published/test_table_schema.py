"""Our descriptors and our reading of cells against the frictionless library, an implementation not ours."""

import csv
import json
import logging

import frictionless
import pandas as pd

from pipelines.intake.descriptor import write_descriptor
from schemas.catalogue import TABLES, tables_of
from schemas.convert.to_frictionless import data_package, table_schema
from schemas.convert.to_pandera import shape_problems
from schemas.delivery import SENT_PARTICIPANTS, SENT_TRIALS
from schemas.model import Kind, Layer
from tests.pipelines.intake.bags import PAYLOAD

logging.getLogger("frictionless").setLevel(logging.ERROR)


def test_the_schema_of_every_table_is_a_valid_table_schema(subtests):
    for name in TABLES:
        with subtests.test(name=name):
            table = TABLES[name]
            descriptor = table_schema(table)
            report = frictionless.Schema.validate_descriptor(descriptor)
            assert report.valid, report.flatten()
            schema = frictionless.Schema.from_descriptor(descriptor)
            assert schema.field_names == list(table.column_names)
            assert schema.primary_key == list(table.key)
            for field in table.fields:
                read = schema.get_field(field.name)
                assert read.required != field.nullable
                assert read.description.startswith(field.description)
                assert read.custom.get("unit") == field.unit
                assert read.type == {Kind.INTEGER: "integer", Kind.REAL: "number", Kind.BOOLEAN: "boolean"}.get(
                    field.kind, "string"
                )


def test_the_package_of_all_delivery_tables_is_a_valid_data_package():
    descriptor = data_package(tables_of(Layer.DELIVERY), "brack-001", "A delivery")
    report = frictionless.Package.validate_descriptor(json.loads(json.dumps(descriptor)))
    assert report.valid, report.flatten()


def test_a_key_to_a_table_that_is_not_in_the_package_is_left_out():
    both = data_package(tables_of(Layer.DELIVERY), "x", "x")["resources"]
    trials = next(r for r in both if r["name"] == "sent_trials")
    assert trials["schema"]["foreignKeys"][0]["reference"]["resource"] == "sent_sessions"
    (alone,) = data_package([SENT_TRIALS], "x", "x")["resources"]
    assert "foreignKeys" not in alone["schema"]


def test_a_good_payload_is_valid_for_the_library_too(tmp_path):
    for name, text in PAYLOAD.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text)
    path = write_descriptor(tmp_path, "mill-001", "A delivery")
    report = frictionless.validate(str(path))
    assert report.valid, report.flatten()
    assert sorted(task.name for task in report.tasks) == [
        "sent_consents",
        "sent_participants",
        "sent_sessions",
        "sent_trials",
    ]


def test_a_row_that_refers_to_nothing_is_found_by_the_library(tmp_path):
    for name, text in PAYLOAD.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text.replace("S1,P1,", "S1,P9,"))
    report = frictionless.validate(str(write_descriptor(tmp_path, "mill-001", "A delivery")))
    assert report.flatten(["type"]) == [["foreign-key"]]


BAD = [
    ("participant_id", "P 1"),
    ("participant_id", ""),
    ("birth_year", "1980.5"),
    ("birth_year", "1800"),
    ("birth_year", "eighty"),
    ("sex", "unknown"),
    ("sex", ""),
    ("stature_m", "170"),
    ("stature_m", "1,70"),
    ("mass_kg", "24.9"),
    ("mass_kg", "62 kg"),
    ("leg_length_m", "0.39"),
    ("weekly_distance_km_per_wk", "-1"),
]


def test_the_library_finds_the_same_bad_cells_as_we_do(tmp_path):
    good = dict(
        zip(SENT_PARTICIPANTS.column_names, PAYLOAD["participants.csv"].splitlines()[1].split(","), strict=True)
    )
    rows = [good | {"participant_id": f"P{n}"} | {column: cell} for n, (column, cell) in enumerate(BAD)]
    with (tmp_path / "participants.csv").open("w", newline="") as stream:
        writer = csv.DictWriter(stream, SENT_PARTICIPANTS.column_names)
        writer.writeheader()
        writer.writerows([*rows, good])
    resource = frictionless.Resource(
        path="participants.csv",
        basepath=str(tmp_path),
        schema=frictionless.Schema.from_descriptor(table_schema(SENT_PARTICIPANTS, beside=[])),
    )
    report = resource.validate()
    # an empty key is also reported for the row as a whole; that one has no column
    theirs = {(row, column) for row, column in report.flatten(["rowNumber", "fieldName"]) if column}
    _, problems = shape_problems(SENT_PARTICIPANTS, pd.DataFrame([*rows, good], dtype=object), "participants.csv")
    ours = {(int(p.place.split()[1].rstrip(",")), p.place.split()[-1]) for p in problems}
    assert ours == {(n + 2, column) for n, (column, _) in enumerate(BAD)}
    assert theirs == ours
