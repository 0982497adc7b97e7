from schemas.catalogue import TABLES
from schemas.convert.to_dagster import dagster_schema


def test_the_columns_dagster_shows_are_those_of_the_definition(subtests):
    for name in TABLES:
        with subtests.test(name=name):
            table = TABLES[name]
            schema = dagster_schema(table)
            assert [column.name for column in schema.columns] == list(table.column_names)
            for field, column in zip(table.fields, schema.columns, strict=True):
                assert column.constraints.nullable == field.nullable
                assert column.description.startswith(field.description)
                assert column.constraints.unique == (table.key == (field.name,))
            assert f"key: {', '.join(table.key)}" in schema.constraints.other


def test_a_column_shows_type_unit_and_range():
    column = next(c for c in dagster_schema(TABLES["footfalls"]).columns if c.name == "duty_factor_fraction")
    assert column.type == "DOUBLE"
    assert "Unit: 1." in column.description
    assert column.constraints.other == ["from 0 to 1"]
