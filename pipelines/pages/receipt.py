"""The receipt of one delivery, for its laboratory: what came, when, under which checksum, what was decided. Plain text.

Made of facts, in which a withheld trial has no name: it is a number here.
"""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap
from typing import TYPE_CHECKING

from pipelines.pages.view import DeliveryRow, reason_line
from pipelines.pages.words import STATUS_WORDS, counted

if TYPE_CHECKING:
    from pipelines.pages.facts import Facts, Finding

_WIDTH = 72
_OVER_FILES = (
    'SHA-256 over the sorted lines "sha256 path" of all payload files as they came: the same for the same files, '
    "however packed."
)
_OVER_WHAT_CAME = "SHA-256 over what came, since no payload could be read."


def receipt(facts: Facts, row: DeliveryRow, title: str, *, invented: bool, packed: str | None = None) -> str:
    """The receipt of the delivery of ``row``. packed: what is to be told of how it was packed, None for nothing."""
    return "\n".join(_lines(facts, row, title, invented, packed)) + "\n"


def _lines(facts: Facts, row: DeliveryRow, title: str, invented: bool, packed: str | None) -> Iterator[str]:
    own = row.delivery
    yield f"Receipt for {own.delivery_id}: {title}"
    yield ""
    if invented:
        yield "(Invented demonstration data: no runner, site or result is real.)"
        yield ""
    yield f"Arrived as       {own.arrived_as}"
    yield f"Received         {own.received_utc}"
    yield f"Delivery number  {own.delivery_number if own.delivery_number is not None else 'not given'}"
    yield f"Payload today    {counted(own.payload_count, 'file')}, {counted(own.payload_bytes, 'byte')}"
    yield " " * 17 + "without what is withheld or was taken out"
    yield f"Checksum         {own.fingerprint_sha256}"
    yield from _said(_OVER_FILES if own.payload_count else _OVER_WHAT_CAME, indent=" " * 17)
    yield f"Decided by       manystrides {own.code_version}, study file {own.study_version}"
    if packed is not None:
        yield ""
        yield "An older kit"
        yield from _said(packed, indent="  ")
    yield ""
    yield f"Decided: {STATUS_WORDS.get(own.status, own.status)}."
    if own.status == "taken_in":
        yield from _trials(facts, row)
    of_delivery = facts.findings_on.get((own.delivery_id, None), ())
    yield from _found("Why", [f for f in of_delivery if f.weight == "stops"])
    yield from _found("In its tables, to be corrected", [f for f in of_delivery if f.weight == "returns"])
    yield from _found("For your notice", [f for f in of_delivery if f.weight == "notes"])


def _trials(facts: Facts, row: DeliveryRow) -> Iterator[str]:
    name = row.delivery.delivery_id
    yield f"  accepted   {row.counts['accepted']}"
    yield f"  went back  {row.counts['returned']}"
    yield f"  withheld   {row.counts['withheld']} (consent or privacy; they are not named)"
    if row.replaced:
        yield f"  Of these, {counted(row.replaced, 'trial')} sent again in a later delivery."
    back = [s for s in facts.standings if s.delivery_id == name and s.standing == "returned" and s.trial_id is not None]
    if back:
        yield ""
        yield "Went back"
        for standing in back:
            later = " (sent again since)" if standing.superseded else ""
            yield f"  {standing.trial_id}{later}"
            yield from _said(reason_line(facts.findings_on.get((name, standing.trial_id), ())), indent="    ")
    decided = [one for one in facts.set_aside if one.delivery_id == name]
    if decided:
        yield ""
        yield "Accepted by the data manager in spite of a finding"
        yield from (f"  {one.trial_id}: {one.check_name.replace('_', ' ')}" for one in decided)


def _found(heading: str, found: list[Finding]) -> Iterator[str]:
    causes = [f for f in found if f.consequence_of is None]
    if not causes:
        return
    yield ""
    yield heading
    for one in causes:
        where = ", ".join(part for part in (one.file, one.place) if part)
        yield from _said(f"- {where + ': ' if where else ''}{one.seen}", indent="  ", later="    ")
        yield from _said(f"Expected: {one.expected} What to do: {one.remedy}", indent="    ")


def _said(text: str, *, indent: str, later: str | None = None) -> Iterator[str]:
    further = indent if later is None else later
    yield from wrap(text, _WIDTH, initial_indent=indent, subsequent_indent=further, break_on_hyphens=False)
