"""The page of what follows from what: ``checks.what_follows``, said in words."""

from __future__ import annotations

from checks.registry import catalogue
from checks.what_follows import CAUSES
from schemas.convert.to_markdown import markdown_table


def causes_page() -> str:
    """Markdown of docs/reference/causes.md."""
    specs = catalogue()
    rows = []
    for cause in CAUSES:
        named = [name for name in specs if name in cause.checks and name != cause.check_name]
        topics = [f"all of {topic}" for topic in cause.topics]
        what = ", ".join((*topics, *(f"[{name}](checks/{name}.md)" for name in named)))
        where = "the same marker, plate or muscle" if cause.there else "the trial"
        rows.append((f"[{cause.check_name}](checks/{cause.check_name}.md)", what, where, cause.why))
    lines = [
        "# What follows from what",
        "",
        "A fault in a recording makes more than one check speak, and what the others advise would spoil data that are",
        "sound. So all findings of a trial are judged together: those that another one explains are marked as its",
        "consequences (`consequence_of` in [findings](tables/findings.md)). They stay in the table, count for what",
        "becomes of the trial, and are shown without anything to do about them. Fix sheets, the overview of a run,",
        "`manystrides check` and the lists of frequent faults and habits show causes.",
        "",
        "- The first row decides before the next: what spoils the file before what spoils a body, and that before what",
        "  spoils an outcome; a later row, where what stands earlier is only noted. A consequence of a consequence is",
        "  given to its cause.",
        "- What is only noted never explains why a trial goes back. What is said of one force plate explains nothing",
        "  of another. A check that failed itself is no cause and no consequence.",
        "- As long as the cause is there nobody can know whether a consequence is a fault of its own as well. If it",
        "  is, it is found again when the trial comes back corrected.",
        "- A finding whose cause the data manager set aside stands for itself on the fix sheet.",
        "",
        "How often the named cause is the true one is [measured](named_causes.md).",
        "",
        *markdown_table(("Cause", "What may follow", "Within", "Because"), rows),
    ]
    return "\n".join(lines) + "\n"
