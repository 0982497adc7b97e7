"""Table definition to a page of the data dictionary. Only makes text; ``pipelines.command.docs_pages`` writes it."""

from __future__ import annotations

from collections.abc import Iterable

from schemas.catalogue import TABLES, made_by
from schemas.convert.words import range_words, rows_sentence, told_words
from schemas.model import LAYER_MEANING, Field, Table
from schemas.privacy import PRIVACY_MEANING, Privacy


def table_page(table: Table) -> str:
    """One page: what a row is, key, columns in file order, lists of words, references both ways."""
    lines = [f"# {table.name}", "", f"One row is {table.one_row_is}.", ""]
    if table.notes:
        lines += [table.notes, ""]
    lines += [f"- **Layer**: {table.layer}. {LAYER_MEANING[table.layer]}"]
    if table.file_name:
        optional = " (the site may leave it out)" if table.optional else ""
        lines.append(f"- **File in the delivery**: `{table.file_name}`{optional}")
    lines.append(f"- **Key**: {_names(table.key)}")
    lines += [f"- **Refers to**: {reference}" for reference in _references(table)]
    if users := _referred_from(table):
        lines.append(f"- **Referred to by**: {', '.join(_link(name) for name in users)}")
    stays = "" if table.leaves else " It never leaves the depot."
    lines.append(f"- **Whose**: {rows_sentence(table.rows)}{stays}")
    lines.append(f"- **Defined in**: `{made_by(table)}`")
    lines += ["", "## Columns", ""]
    header = ("Column", "Type", "Unit", "Allowed", "May be empty", "Privacy", "In a release", "What it is")
    lines += markdown_table(header, [_row(table, field) for field in table.fields])
    for field in table.fields:
        if field.codes:
            lines += ["", f"## Words of {field.name}", ""]
            lines += markdown_table(("Word", "Meaning"), [(f"`{code.value}`", code.meaning) for code in field.codes])
    return "\n".join(lines) + "\n"


def index_page(tables: Iterable[Table]) -> str:
    """All tables by layer, each with the sentence that says what its row is."""
    lines = ["# Tables", "", "Every table, by layer. Each has a page with its columns, units and words."]
    listed = tuple(tables)
    for layer, meaning in LAYER_MEANING.items():
        own = [table for table in listed if table.layer is layer]
        if own:
            lines += ["", f"## Layer {layer}", "", meaning, ""]
            lines += markdown_table(("Table", "One row is"), [(_link(t.name), t.one_row_is) for t in own])
    lines += ["", "## Privacy of a column", ""]
    lines += markdown_table(("Word", "Meaning"), [(f"`{word}`", meaning) for word, meaning in PRIVACY_MEANING.items()])
    return "\n".join(lines) + "\n"


def markdown_table(header: Iterable[str], rows: Iterable[Iterable[str]]) -> list[str]:
    """Lines of a Markdown table; bars in cells are escaped."""
    head = list(header)
    lines = [_line(head), _line(["---"] * len(head))]
    return lines + [_line(row) for row in rows]


def _line(cells: Iterable[str]) -> str:
    return "| " + " | ".join(cell.replace("|", "\\|").replace("\n", " ") for cell in cells) + " |"


def _row(table: Table, field: Field) -> tuple[str, ...]:
    unit = f"`{field.unit}`" if field.unit else ""
    empty = "yes, and the column may be left out" if field.may_be_left_out else "yes" if field.nullable else "no"
    return (
        f"`{field.name}`",
        str(field.kind),
        unit,
        _allowed(field),
        empty,
        _privacy(field),
        _leaves(table, field),
        field.description,
    )


def _privacy(field: Field) -> str:
    told = f", {told_words(field.told)}" if field.privacy is Privacy.QUASI else ""
    return f"{field.privacy}{told}"


def _leaves(table: Table, field: Field) -> str:
    if table.leaves is None or field.name not in table.leaves.names:
        return "no"
    return "yes" if table.leaves.by is None else "of some quantities"


def _allowed(field: Field) -> str:
    if field.codes:
        return ", ".join(f"`{code.value}`" for code in field.codes)
    if field.study_list:
        return f"{field.study_list.replace('_', ' ')} of the [study file](../study_file.md)"
    return range_words(field)


def _names(names: Iterable[str]) -> str:
    return ", ".join(f"`{name}`" for name in names)


def _link(table: str) -> str:
    return f"[{table}]({table}.md)"


def _references(table: Table) -> list[str]:
    return [
        f"{_link(reference.table)} by {_names(reference.columns)}"
        + ("" if reference.columns == reference.table_columns else f" to {_names(reference.table_columns)}")
        for reference in table.references
    ]


def _referred_from(table: Table) -> list[str]:
    return [t.name for t in TABLES.values() if any(r.table == table.name for r in t.references)]
