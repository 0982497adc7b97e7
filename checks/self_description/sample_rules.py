"""What a C3D file says of its samples against the samples themselves: whether they are signed, how many bits they have,
and whether those of a force plate are numbers at all.
"""

from __future__ import annotations

from collections.abc import Iterator

from checks.self_description.rule import Rule, Said, untidy, wrong
from schemas.self_description import SelfDescription

#: Own choice: a signal does not cross the whole range of its converter from one sample to the next as often.
FEWEST_LEAPS, LEAPS_BY = 20, 10


def _format(description: SelfDescription) -> Iterator[Said]:
    samples = description.samples
    if samples.leaps_as_stated < max(FEWEST_LEAPS, LEAPS_BY * samples.leaps_else):
        return
    stated = description.parameters.analog_format or "missing"
    unsigned = stated.startswith("UNSIGNED")
    yield wrong(
        f"ANALOG:FORMAT is {stated}, and the samples were read as {'unsigned' if unsigned else 'signed'} numbers: so "
        f"they leap across half their range {samples.leaps_as_stated} times, as {'signed' if unsigned else 'unsigned'} "
        f"numbers {samples.leaps_else} times; ANALOG:FORMAT is wrong"
    )


def _bits(description: SelfDescription) -> Iterator[Said]:
    bits, samples = description.parameters.analog_bits, description.samples
    if bits is None or samples.lowest is None or samples.highest is None or not 8 <= bits < 16:
        return
    if samples.lowest < -(2 ** (bits - 1)) or samples.highest >= 2**bits:
        yield untidy(
            f"ANALOG:BITS is {bits}, and the samples go from {samples.lowest} to {samples.highest}, which need more; "
            "ANALOG:BITS is wrong, and the end of the converter's range was not taken from it"
        )


def _plate_samples(description: SelfDescription) -> Iterator[Said]:
    for plate in description.plates.plates:
        if plate.no_numbers:
            many = "sample is" if plate.no_numbers == 1 else "samples are"
            yield wrong(f"{plate.no_numbers} {many} no number in the channels of force plate {plate.number}")


SAMPLE_RULES: tuple[Rule, ...] = (
    Rule(
        "sign of analog samples",
        ("ANALOG:FORMAT", "analog samples"),
        "read as stated, samples leap across half their range ten times as often as read the other way (files of "
        "integers)",
        "",
        _format,
    ),
    Rule(
        "bits of the converter",
        ("ANALOG:BITS", "analog samples"),
        "",
        "a sample lies outside the range of so many bits (files of integers); the range is then not taken from them",
        _bits,
    ),
    Rule(
        "samples of force plates",
        ("FORCE_PLATFORM:CHANNEL", "analog samples"),
        "a sample of a plate's channel is no number",
        "",
        _plate_samples,
    ),
)
