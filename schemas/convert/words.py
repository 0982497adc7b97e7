"""The sentences that say what a column may hold; shared by messages, comments and dictionary pages."""

from __future__ import annotations

from schemas.model import Field, Kind, Table
from schemas.privacy import RUNNER, Privacy, Rows, Told

#: UCUM codes that a reader would stumble over, in plain words. All others are read as they stand.
UNIT_WORDS = {
    "1": "",
    "a": "",  # only calendar years are in years
    "d": "days",
    "wk": "weeks",
    "By": "bytes",
    "km/wk": "km per week",
    "/min": "per minute",
    "{step}/min": "steps per minute",
    "{BW}": "body weights",
    "{BW}/s": "body weights per second",
    "{BW}.s": "body weights times seconds",
    "{unit_of_row}": "",
}

KIND_WORDS = {
    Kind.IDENTIFIER: "a short code of letters, digits, dot, dash and underscore, at most 64 characters",
    Kind.CODE: "one word of a list",
    Kind.TEXT: "a text of at most 2000 characters on one line, without control characters",
    Kind.INTEGER: "a whole number",
    Kind.REAL: "a number",
    Kind.BOOLEAN: "true or false",
}


def number(value: float) -> str:
    """A bound as people write it: 25, 0.4, never 25.0."""
    return f"{value:g}" if abs(value) < 1e6 else f"{value:.0f}"


def unit_words(unit: str | None) -> str:
    """The unit as it reads after a number; empty for none."""
    return UNIT_WORDS.get(unit, unit) if unit else ""


def range_words(field: Field) -> str:
    """The allowed range, for example "from 1 to 2.3 m" or "0 s or more"; empty if there is none."""
    unit = unit_words(field.unit)
    tail = f" {unit}" if unit else ""
    if field.low is not None and field.high is not None:
        return f"from {number(field.low)} to {number(field.high)}{tail}"
    if field.low is not None:
        return f"{number(field.low)}{tail} or more"
    if field.high is not None:
        return f"{number(field.high)}{tail} or less"
    return ""


def expectation(field: Field) -> str:
    """What a cell of this column may hold, as a clause: "a number from 1 to 2.3 m"."""
    if field.codes:
        words = "one of " + ", ".join(code.value for code in field.codes)
    elif field.study_list:
        words = f"one of the {field.study_list.replace('_', ' ')} of the study file"
    else:
        words = KIND_WORDS[field.kind]
        if bounds := range_words(field):
            # "a number, 0 s or more" reads; "a number 0 s or more" does not
            words += f" {bounds}" if bounds.startswith("from") else f", {bounds}"
        elif unit := unit_words(field.unit):
            words += f" in {unit}"
    return words + (", or empty" if field.nullable else "")


def unit_sentence(field: Field) -> str:
    """ "Unit: s."; empty for columns without a unit."""
    if field.unit == "{unit_of_row}":
        return "Unit: differs from row to row."
    return f"Unit: {field.unit}." if field.unit else ""


def codes_sentence(field: Field) -> str:
    """ "One of: left, right."; empty for columns without a list of words."""
    if field.codes:
        return "One of: " + ", ".join(code.value for code in field.codes) + "."
    if field.study_list:
        return f"One of the {field.study_list.replace('_', ' ')} of the study file."
    return ""


def told_words(told: Told | None) -> str:
    """How a release tells a quasi column, as a clause."""
    if told is None:
        return "in no release"
    how = f"in bands of {' or '.join(f'{band:g}' for band in told.bands)}" if told.bands else "as it is"
    return f"in a release {how}, where enough runners share it with all others of its kind"


def privacy_sentence(field: Field) -> str:
    """ "Privacy: quasi, in a release as it is." """
    told = f", {told_words(field.told)}" if field.privacy is Privacy.QUASI else ""
    return f"Privacy: {field.privacy}{told}."


def rows_sentence(rows: Rows | None) -> str:
    """Whose the rows of a table are and which consent they need, as a sentence."""
    if rows is None:
        return "Nobody has said whose its rows are."
    if rows.by is None:
        return "Its rows belong to no runner."
    if rows.follows:
        return f"Its rows lead to a runner by {rows.by}; consent covers one where it covers what may lead to it."
    scopes = ", ".join(sorted(rows.needs))
    if rows.by != RUNNER:
        when = "on the day of the session"
    else:
        when = f"by {rows.day}" if rows.day else "by all that is known"
    return f"Its rows lead to a runner by {rows.by} and need consent to {scopes} {when}."


def column_comment(field: Field) -> str:
    """Description, unit, words and privacy: the comment a database or a Parquet reader shows."""
    parts = (field.description, unit_sentence(field), codes_sentence(field), privacy_sentence(field))
    return " ".join(part for part in parts if part)


def table_comment(table: Table) -> str:
    """ "One row is one runner.", the notes, and whose the rows are."""
    parts = (f"One row is {table.one_row_is}.", table.notes, rows_sentence(table.rows))
    return " ".join(part for part in parts if part)


def key_sentence(table: Table) -> str:
    """Which columns together tell a row from all others."""
    return f"Key: {', '.join(table.key)}."
