"""What a second file (EDF, EDF+) says about itself: what its reader refuses, and what is found in a file that was read.

Source: the EDF and EDF+ specifications (edfplus.info). The reader, ``pipelines.intake.sidecar``, refuses a header that
leaves no value that could be right; a refusal names the channel and sends the trial back as well.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from schemas.self_description import SecondFileSays

#: place, statements, when the trial goes back. Of each the first word tells who says so: "not read" is the reader.
STATEMENTS: tuple[tuple[str, tuple[str, ...], str], ...] = (
    ("size", ("number of data records", "samples in a record", "size of the file"), "not read where they differ"),
    ("header", ("number of channels", "bytes of the header"), "not read where they differ"),
    (
        "physical range",
        ("physical minimum", "physical maximum"),
        "not read where they are equal or no numbers (a decimal comma included)",
    ),
    (
        "digital range",
        ("digital minimum", "digital maximum", "16-bit samples"),
        "not read where the minimum is not below the maximum, one is no whole number, or more than 16 bits are meant",
    ),
    (
        "times of an interrupted recording (EDF+D)",
        ("duration of a record", "time of each record"),
        "not read where a record does not follow the one before it, or has no time",
    ),
    (
        "times of a continuous recording (EDF+C)",
        ("duration of a record", "time of each record"),
        "found where a record does not follow the one before it to 2 ms and 0.1 %, or has no time",
    ),
    ("samples", ("digital minimum and maximum", "each sample"), "found where a sample lies outside"),
    (
        "samples in a record",
        ("samples in a record of each channel",),
        "found where just two channels have another number than is usual in their unit, one as many more as the other "
        "has fewer",
    ),
    ("blocks", ("samples on both sides",), "found where whole blocks of 512 bytes hold nothing but one byte"),
)


def said_of(says: SecondFileSays) -> Iterator[str]:
    """Every disagreement as a clause that follows "In the second file ...", without full stop."""
    if says.step_count:
        first = says.steps[0]
        late = first.stated_s - first.expected_s
        more = f"; {says.step_count - 1} more such steps follow" if says.step_count > 1 else ""
        yield (
            f"data record {first.record} of {says.records} says that it begins at {first.stated_s:.6g} s, and the one "
            f"before it ends at {first.expected_s:.6g} s: {abs(late):.6g} s "
            f"{'are missing' if late > 0 else 'overlap'}{more}"
        )
    if says.untimed:
        yield f"{says.untimed} of {says.records} data records do not say when they begin"
    for label, count in says.outside[:12]:
        yield f"{count} samples of channel {label!r} lie outside the digital range that its header states"
    yield from _exchanged(says)
    for lost in says.blank[:12]:
        where = f"record {lost.first}" if lost.first == lost.last else f"records {lost.first} to {lost.last}"
        yield (
            f"samples of data {where} were lost: {lost.bytes} bytes from byte {lost.first_byte} of the file on, whole "
            f"blocks of a disk, hold nothing but the byte {lost.filling}"
        )


def _exchanged(says: SecondFileSays) -> Iterator[str]:
    """Two channels that took samples from one another: the record is as long as before, and nothing else shows it.

    What is usual is told by two or more others of the unit; where there are too few, by all channels together.
    """
    everywhere = Counter(count for _, _, count in says.samples)
    off: list[tuple[int, str, int, int]] = []
    for label, unit, count in says.samples:
        beside = Counter(n for _, own, n in says.samples if own == unit)
        usual, times = beside.most_common(1)[0]
        if times < 2:
            usual = everywhere.most_common(1)[0][0]
        if count != usual:
            off.append((count - usual, label, count, usual))
    if len(off) == 2 and off[0][0] + off[1][0] == 0:
        (_, one, few, usual), (_, two, many, other) = sorted(off)
        yield (
            f"channel {one!r} is said to have {few} samples in a record, where {usual} are usual, and {two!r} {many}, "
            f"where {other} are: samples of the one were read as the other's"
        )
