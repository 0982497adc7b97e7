import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from schemas.catalogue import TABLES
from schemas.convert.to_arrow import arrow_schema, empty_frame, to_arrow_table
from schemas.model import Field, Kind, Layer, Table

SHOES = Table(
    name="shoes",
    layer=Layer.CORE,
    one_row_is="one pair of shoes",
    key=("shoe_id",),
    fields=(
        Field("shoe_id", Kind.IDENTIFIER, "Its code."),
        Field("colour", Kind.TEXT, "Its colour.", nullable=True),
        Field("size", Kind.INTEGER, "Its size.", nullable=True),
        Field("mass_kg", Kind.REAL, "Its mass.", unit="kg"),
        Field("worn", Kind.BOOLEAN, "Whether it was worn.", nullable=True),
    ),
)
A_SHOE = {"shoe_id": "A", "colour": "grey", "size": 42, "mass_kg": 0.3, "worn": True}


def as_frame(**changes) -> pd.DataFrame:
    return pd.DataFrame([A_SHOE | changes])


def test_every_table_survives_parquet_with_its_words(tmp_path, subtests):
    for name in TABLES:
        with subtests.test(name=name):
            table = TABLES[name]
            pq.write_table(to_arrow_table(table, empty_frame(table)), tmp_path / "t.parquet")
            schema = pq.read_schema(tmp_path / "t.parquet")
            assert schema.metadata[b"one_row_is"].decode() == table.one_row_is
            assert schema.metadata[b"key"].decode().split(",") == list(table.key)
            assert schema.names == list(table.column_names)
            for field in table.fields:
                stored = schema.field(field.name)
                assert stored.nullable == field.nullable
                assert stored.metadata[b"description"].decode() == field.description
                assert stored.metadata[b"kind"].decode() == field.kind
                assert stored.metadata.get(b"unit", b"").decode() == (field.unit or "")


def test_kinds_have_the_types_that_readers_expect():
    assert [str(field.type) for field in arrow_schema(SHOES)] == ["string", "string", "int64", "double", "bool"]


@pytest.mark.parametrize("rows", [[A_SHOE], pd.DataFrame([A_SHOE])[["mass_kg", "worn", "size", "shoe_id", "colour"]]])
def test_rows_come_back_in_definition_order(rows):
    made = to_arrow_table(SHOES, rows)
    assert made.column_names == list(SHOES.column_names)
    assert made.to_pylist() == [A_SHOE]


@pytest.mark.parametrize("missing", [None, np.nan, pd.NA], ids=["None", "NaN", "NA"])
def test_every_way_of_saying_missing_is_null(missing):
    row = A_SHOE | {"colour": missing, "size": missing, "worn": missing}
    for rows in ([row, A_SHOE], pd.DataFrame([row, A_SHOE])):
        assert to_arrow_table(SHOES, rows).to_pylist()[0] == A_SHOE | {"colour": None, "size": None, "worn": None}


def test_a_whole_number_column_with_gaps_in_floats_is_taken():
    frame = pd.DataFrame([A_SHOE, A_SHOE | {"size": np.nan}])
    assert frame["size"].dtype == float
    assert to_arrow_table(SHOES, frame)["size"].to_pylist() == [42, None]


def test_a_column_without_any_value_is_null_whatever_its_type():
    frame = pd.DataFrame([A_SHOE]).astype({"colour": object})
    frame["colour"], frame["worn"] = np.nan, np.nan
    assert to_arrow_table(SHOES, frame).to_pylist()[0]["colour"] is None


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"size": 42.5}, "column size"),
        ({"size": "42"}, "column size"),
        ({"size": True}, "column size"),
        ({"worn": 1}, "column worn"),
        ({"mass_kg": "0.3"}, "column mass_kg"),
        ({"mass_kg": False}, "column mass_kg"),
        ({"colour": 7}, "column colour"),
        ({"colour": b"grey"}, "column colour"),
        ({"mass_kg": None}, "null"),
        ({"shoe_id": None}, "null"),
        ({"mass_kg": np.nan}, "null"),
    ],
)
def test_what_does_not_fit_is_refused_and_the_column_named(change, words):
    for rows in ([A_SHOE | change], as_frame(**change)):
        with pytest.raises(ValueError, match=words) as refusal:
            to_arrow_table(SHOES, rows)
        assert "shoes" in str(refusal.value)


def test_a_missing_and_an_unknown_column_are_both_named():
    row = {name: value for name, value in A_SHOE.items() if name != "colour"} | {"brand": "none"}
    for rows in ([row], pd.DataFrame([row])):
        with pytest.raises(ValueError, match=r"missing column colour.*unknown column brand"):
            to_arrow_table(SHOES, rows)


def test_a_column_that_stands_twice_is_refused():
    frame = pd.concat([as_frame(), as_frame()[["size"]]], axis=1)
    with pytest.raises(ValueError, match="twice"):
        to_arrow_table(SHOES, frame)


def test_a_null_is_named_with_its_row():
    with pytest.raises(ValueError, match="1 of 2 values are null, first in row 1"):
        to_arrow_table(SHOES, [A_SHOE, A_SHOE | {"mass_kg": None}])


def test_no_rows_at_all_make_an_empty_typed_table():
    made = to_arrow_table(SHOES, [])
    assert made.num_rows == 0
    assert made.schema.equals(arrow_schema(SHOES), check_metadata=True)


def test_nothing_is_left_of_pandas_in_the_metadata():
    assert b"pandas" not in (to_arrow_table(SHOES, as_frame()).schema.metadata or {})


def test_the_empty_frame_holds_every_kind_with_a_missing_value():
    frame = empty_frame(SHOES).reindex(range(1))
    assert frame.isna().all(axis=None)
    assert [str(t) for t in frame.dtypes] == ["str", "str", "Int64", "float64", "boolean"]
    assert pa.Table.from_pandas(frame).num_rows == 1
