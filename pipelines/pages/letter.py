"""The letter to a laboratory: what came, what has to be sent again, why, and what to do first. Plain text.

A paragraph is one line, so that it flows on a screen of any width, as a mail does; ``wrapped`` is for a file.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date, timedelta
from textwrap import wrap

from pipelines.pages import view
from pipelines.pages.facts import Facts
from pipelines.pages.words import STATUS_WORDS, check_words, counted
from pipelines.pages.worklist import Worklist
from schemas.moments import moment_of

_MOST_REASONS = 5
_MOST_DELIVERIES = 5
_WIDTH = 72
_BEGINS = re.compile(r" *(?:- |\d+\. )?")


def letter(
    facts: Facts, work: Worklist, site: str, title: str, *, invented: bool, answer_within_days: int | None = None
) -> str:
    """The letter, its first line a subject. facts, work: of this laboratory alone.

    answer_within_days: by when a return is asked for, counted from the day it came; None if the study asks for no day.
    """
    return "\n".join(_lines(facts, work, site, title, invented, answer_within_days)) + "\n"


def wrapped(letter: str) -> str:
    """A letter in lines of 72 characters but for its subject, what follows a mark indented as its first line."""
    subject, *lines = letter.split("\n")
    return "\n".join([subject, *(part for line in lines for part in _parts(line))])


def _parts(line: str) -> list[str]:
    begin = _BEGINS.match(line)
    later = " " * len(begin[0]) if begin else ""
    return wrap(line, _WIDTH, subsequent_indent=later, break_on_hyphens=False, drop_whitespace=True) or [""]


def _lines(facts: Facts, work: Worklist, site: str, title: str, invented: bool, within: int | None) -> Iterator[str]:
    trials = [row for row in work.send if row.trial_id]
    stopped = [row for row in work.send if not row.trial_id]
    yield f"Subject: {title}: {_asked(len(trials), len(stopped))} ({site})"
    yield ""
    if invented:
        yield "(Invented demonstration data: no runner, site or result is real.)"
        yield ""
    why = "withheld because consent does not cover them or a file may identify a person"
    counts = view.count_standings(facts.current)
    came = counted(len(facts.deliveries), "delivery", "deliveries")
    apart = f", {counts['withheld']} {why}" if counts["withheld"] else ""
    yield from _said(
        f"From {site} {came} came so far. {counted(counts['accepted'], 'trial')} {_are(counts['accepted'])} accepted"
        f"{apart}."
    )
    yield from _newest(facts)
    yield ""
    for one in facts.silent:
        yield from _said(f"{one.told} If you pause, tell us until when; if something was sent, it did not arrive.")
        yield ""
    yield from _told_later(facts)
    telling = [finding for finding in facts.findings if finding.weight == "withholds"]
    if telling:
        yield from _said(
            "Recordings that may identify a person are kept apart, unused, until they are sent again without that; "
            "manystrides check with --scrub writes such a copy. Which trials they are the data manager can tell you. "
            "Found at:"
        )
        for place in sorted({f"{one.delivery_id}: {one.place}" for one in telling}):
            yield from _said(place, "  - ")
        yield ""
    if not work.send and not telling:
        yield from _said("Nothing has to be sent again. Thank you.")
        yield ""
    if stopped:
        yield from _said("These deliveries could not be taken in at all; send each again when it is corrected:")
        for row in stopped:
            yield from _said(f"{row.delivery_id}: {row.finding.seen if row.finding else row.check}", "  - ")
        yield ""
    if work.send:
        yield from _first_and_by_when(facts, work, site, within)
        yield ""
    if trials:
        yield from _reasons(facts, site, len(trials))
        yield from _said(
            f"Keep the trial ids, and send what is corrected in delivery number {facts.next_number(site)} or later. "
            "What cannot be corrected, tell us: the trial then stays out, and everything else of the runner is kept."
        )
        yield ""
    yield from _said(
        "Enclosed: index.html (open it in a browser; it works without a network), a fix sheet for each of them in the "
        "folder fix, and returns.csv with one row for each. Runners stand in it by their study codes; pass it on to "
        "nobody outside the study."
    )


def _newest(facts: Facts) -> Iterator[str]:
    """What the newest deliveries brought, as they came."""
    rows = view.delivery_rows(facts)
    for row in rows[-_MOST_DELIVERIES:]:
        own, counts = row.delivery, row.counts
        became = ", ".join(
            f"{count} {word}"
            for count, word in (
                (counts["accepted"], "accepted"), (counts["returned"], "went back"), (counts["withheld"], "withheld"),
            )
            if count
        ) or STATUS_WORDS.get(own.status, own.status)  # fmt: skip
        again = f" ({counted(row.replaced, 'trial')} sent again since)" if row.replaced else ""
        yield from _said(f"{own.delivery_id}, received {own.received_utc[:10]}: {became}{again}.", "  - ")
    if len(rows) > _MOST_DELIVERIES:
        yield f"  And {counted(len(rows) - _MOST_DELIVERIES, 'delivery', 'deliveries')} before; each has its receipt."


def _told_later(facts: Facts) -> Iterator[str]:
    """Which trials were judged again with what a later delivery tells of their session or runner."""
    by_deliveries: dict[tuple[str, str], list[str]] = {}
    for one in facts.current:
        if one.told_by_delivery is not None and one.trial_id is not None:
            by_deliveries.setdefault((one.delivery_id, one.told_by_delivery), []).append(one.trial_id)
    if not by_deliveries:
        return
    yield from _said(
        "A later delivery tells otherwise of a session or runner that an earlier one described, too (body mass, set "
        "speed, surface, visit, sex, stature or leg length). These trials were judged again with it. If the earlier "
        "row was right, send it once more:"
    )
    for (own, later), trials in sorted(by_deliveries.items()):
        yield from _said(f"{own}, with what {later} tells: {', '.join(sorted(trials))}.", "  - ")
    yield ""


def _first_and_by_when(facts: Facts, work: Worklist, site: str, within: int | None) -> Iterator[str]:
    """What to begin with, and by which day each delivery's returns are asked for."""
    faults = [fault for fault in view.frequent_faults(facts, site) if fault.still_open]
    if any(not row.trial_id for row in work.send):
        yield from _said("What to do first: send what could not be taken in, since nothing of it is used.")
    elif faults:
        first = max(faults, key=lambda fault: fault.still_open)
        yield from _said(f"What to do first: the first reason below, with {counted(first.still_open, 'trial')}.")
    if within is None:
        return
    by_day: dict[date, int] = {}
    for row in work.send:
        if (since := moment_of(row.since_utc)) is not None:
            day = since.date() + timedelta(days=within)
            by_day[day] = by_day.get(day, 0) + 1
    for day, count in sorted(by_day.items()):
        yield from _said(
            f"Please answer by {day.isoformat()}: {count} of them ({within} days after they came).", "  - "
        )


def _reasons(facts: Facts, site: str, trials: int) -> Iterator[str]:
    faults = [fault for fault in view.frequent_faults(facts, site) if fault.still_open]
    yield from _said(f"{counted(trials, 'trial')} went back to you. The most frequent reasons, and what helps:")
    for number, fault in enumerate(faults[:_MOST_REASONS], start=1):
        yield ""
        yield from _said(
            f"{check_words(fault.check_name)}: not so in {counted(fault.still_open, 'trial')}.", f"  {number}. "
        )
        yield from _said(fault.remedy, "     ")
    if len(faults) > _MOST_REASONS:
        yield ""
        yield f"  And {counted(len(faults) - _MOST_REASONS, 'more reason')}, on the page."
    yield ""


def _asked(trials: int, stopped: int) -> str:
    parts = [counted(trials, "trial")] if trials else []
    parts += [counted(stopped, "delivery", "deliveries")] if stopped else []
    return f"{' and '.join(parts)} to send again" if parts else "nothing to send again"


def _are(count: int) -> str:
    return "is" if count == 1 else "are"


def _said(text: str, begin: str = "") -> Iterator[str]:
    """One paragraph, whatever breaks of lines the text had."""
    yield begin + " ".join(text.split())
