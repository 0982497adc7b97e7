from schemas.catalogue import TABLES
from schemas.convert.to_markdown import index_page, markdown_table, table_page
from schemas.model import Field, Kind, Layer, Table


def test_a_page_lists_every_column_in_file_order_with_unit_and_description(subtests):
    for name in TABLES:
        with subtests.test(name=name):
            table = TABLES[name]
            page = table_page(table)
            rows = [
                line.split(" | ")
                for line in page.split("## Columns")[1].split("\n## ")[0].splitlines()
                if "| `" in line
            ]
            assert [row[0] for row in rows] == [f"| `{column}`" for column in table.column_names]
            for field, row in zip(table.fields, rows, strict=True):
                assert row[1] == field.kind
                assert row[2].strip("` ") == (field.unit or "")
                assert row[4].split(",")[0] == ("yes" if field.nullable else "no")
                assert row[4].endswith("may be left out") == field.may_be_left_out
                assert row[5].split(",")[0] == field.privacy
                assert row[6].startswith("no") == (table.leaves is None or field.name not in table.leaves.names)
                assert row[7].removesuffix(" |") == field.description
            for field in table.fields:
                for code in field.codes:
                    assert f"| `{code.value}` | {code.meaning} |" in page


def test_references_are_shown_from_both_ends():
    assert "[sent_sessions](sent_sessions.md) by `session_id`" in table_page(TABLES["sent_trials"])
    assert "[sent_trials](sent_trials.md)" in table_page(TABLES["sent_sessions"])


def test_the_index_groups_tables_by_layer():
    page = index_page(TABLES.values())
    delivery, quality = page.index("## Layer delivery"), page.index("## Layer quality")
    assert delivery < page.index("[sent_trials]") < quality < page.index("[findings]")


def test_a_bar_in_a_text_does_not_break_the_table():
    odd = Table("odd", Layer.CORE, "a|b", ("x",), (Field("x", Kind.TEXT, "One | two."),))
    assert "| One \\| two. |" in table_page_of(odd)
    assert markdown_table(("a",), [("x\ny",)])[-1] == "| x y |"


def table_page_of(table: Table) -> str:
    """The columns part of a page, for a table outside the catalogue."""
    from schemas.convert.to_markdown import _row

    return "\n".join(markdown_table(("a",) * 8, [_row(table, field) for field in table.fields]))
