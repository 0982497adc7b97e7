"""The page of every statement that a recording makes more than once, from the rules that compare them."""

from __future__ import annotations

from checks.self_description import name_rules, second_file_rules
from checks.self_description.agreement import FILE_RULES
from checks.self_description.plate_rules import PLATE_RULES
from schemas.convert.to_markdown import markdown_table


def statements_page() -> str:
    """Markdown."""
    lines = [
        "# What a recording says twice",
        "",
        "A file tells some things about itself more than once. A value may be wrong only if all of these statements",
        "agree on it: each is compared with the others while a trial is judged. Where values are wrong, or nobody can",
        "know which of two is right, the trial goes back; where the values are known all the same, it is noted under",
        "[file_structure_is_consistent](checks/file_structure_is_consistent.md).",
        "",
        "## C3D: header, parameters and bytes",
        "",
        "Found by [file_agrees_with_itself](checks/file_agrees_with_itself.md).",
        "",
    ]
    heads = ("What", "Said by", "The trial goes back where", "It is noted where")
    for rules in (FILE_RULES, PLATE_RULES):
        if rules is PLATE_RULES:
            found = "[force_plates_are_described_in_full](checks/force_plates_are_described_in_full.md)"
            lines += ["", "## C3D: force plates", "", f"Found by {found}.", ""]
        rows = [(r.place, "; ".join(r.statements), r.returns or "never", r.noted or "never") for r in rules]
        lines += markdown_table(heads, rows)
    lines += ["", "## Names in both files", ""]
    lines += ["Found by [names_stand_for_one_thing](checks/names_stand_for_one_thing.md); the first is read.", ""]
    names = [(words, goes or "never", "else") for words, goes in name_rules.KINDS.values()]
    lines += markdown_table(("What", heads[2], heads[3]), names)
    lines += ["", "## Second file: EDF and EDF+", ""]
    lines += [
        "What is not read is reported by [trial_file_can_be_read](checks/trial_file_can_be_read.md), what is found by"
    ]
    lines += ["[second_file_agrees_with_itself](checks/second_file_agrees_with_itself.md).", ""]
    rows_of_second = [(place, "; ".join(said), goes) for place, said, goes in second_file_rules.STATEMENTS]
    lines += markdown_table(heads[:3], rows_of_second)
    return "\n".join(lines) + "\n"
