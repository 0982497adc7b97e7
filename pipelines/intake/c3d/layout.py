"""What a C3D file says about itself before any measured number is decoded. Read within bounds, for any processor.

Facts of the format are from the public C3D user guide. Decoding is in ``decode``, the choice of a reader in
``reading``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipelines.intake.c3d.counts import Counts, number, settle_counts
from pipelines.intake.c3d.header import Header, read_header
from pipelines.intake.c3d.parameters import BLOCK, Parameter, Section, read_section
from pipelines.intake.c3d.problem import C3dProblem
from schemas.self_description import Twin


@dataclass(frozen=True)
class Layout:
    """Everything about a file but its data.

    scale: of integer positions (1 for float storage). analog_scale, analog_offset: (channels,), general scale included
    and unsigned offsets made positive where the file declares them unsigned. analog_rate_hz: None without channels.
    events: seconds, label, context. fits: how many combinations of the stated counts fill the file. repeated: names
    that stand for more than one group or parameter. texts: every text parameter as "GROUP:NAME" and its rows.
    """

    header: Header
    groups: dict[str, dict[str, Parameter]]
    counts: Counts
    storage: str  # "int" or "float"
    scale: float
    point_rate_hz: float
    analog_rate_hz: float | None
    point_unit: str
    point_labels: tuple[str, ...]
    analog_labels: tuple[str, ...]
    analog_units: tuple[str, ...]
    analog_scale: np.ndarray
    analog_offset: np.ndarray
    analog_unsigned: bool
    analog_bits: int | None
    events: tuple[tuple[float, str, str], ...]
    fits: int
    repeated: tuple[Twin, ...]
    oddities: tuple[str, ...]

    @property
    def processor(self) -> str:
        """INTEL, DEC or MIPS."""
        return self.header.processor

    @property
    def texts(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Every text parameter: its place and its rows."""
        return tuple(
            (f"{group}:{name}", parameter.texts)
            for group, parameters in self.groups.items()
            for name, parameter in parameters.items()
            if parameter.kind == "text"
        )


def read_layout(data: bytes) -> Layout:
    """Parse header and parameters. Raises C3dProblem when this is no C3D file or its data are not all there."""
    header = read_header(data)
    section = read_section(data, header.parameter_start, header.processor, (header.data_block - 1) * 512)
    scale = header.scale if np.isfinite(header.scale) and header.scale else number(section, "POINT", "SCALE")
    if scale is None or not np.isfinite(scale) or scale == 0:
        raise C3dProblem("neither the header nor POINT:SCALE holds a scale for the positions")
    counts, fits = settle_counts(header, section, len(data), 4 if scale < 0 else 2)
    if counts.data_start > (header.data_block - 1) * BLOCK:  # what was read as parameters ended too early
        section = read_section(data, header.parameter_start, header.processor, counts.data_start)
    oddities = section.oddities
    point_rate = _point_rate(header, section)
    offset, unsigned = _offsets(section, counts.channels, oddities)
    scales = _spread(section, "SCALE", counts.channels, 1.0)
    general = number(section, "ANALOG", "GEN_SCALE")
    bits = number(section, "ANALOG", "BITS")
    return Layout(
        header=header,
        groups=section.groups,
        counts=counts,
        storage="float" if scale < 0 else "int",
        scale=1.0 if scale < 0 else float(scale),
        point_rate_hz=point_rate,
        # samples per frame times frame rate: what the data hold, whatever ANALOG:RATE says
        analog_rate_hz=float(counts.samples_per_frame * point_rate) if counts.channels else None,
        point_unit=(_texts(section, "POINT", "UNITS") or ("",))[0],
        point_labels=_named(_texts(section, "POINT", "LABELS"), counts.points, "point"),
        analog_labels=_named(_texts(section, "ANALOG", "LABELS"), counts.channels, "channel"),
        analog_units=_filled(_texts(section, "ANALOG", "UNITS"), counts.channels),
        analog_scale=scales * (1.0 if general is None else general),
        analog_offset=offset,
        analog_unsigned=unsigned,
        analog_bits=int(bits) if bits is not None and bits in range(8, 25) else None,
        events=_events(section),
        fits=fits,
        repeated=tuple(section.repeated),
        oddities=tuple(dict.fromkeys(oddities)),
    )


def _point_rate(header: Header, section: Section) -> float:
    """POINT:RATE, or the header's where it is missing or no rate."""
    rate = number(section, "POINT", "RATE")
    if rate is None or not (np.isfinite(rate) and rate > 0):
        rate = header.rate_hz
    if not (np.isfinite(rate) and 0 < rate < 1e7):
        raise C3dProblem("the file states no usable frame rate, neither in its header nor in POINT:RATE")
    return float(rate)


def rows_of(groups: dict[str, dict[str, Parameter]], group: str, name: str) -> list[Parameter]:
    """A parameter and its continuations (LABELS, LABELS2, ...): one holds at most 255 entries."""
    parameters = groups.get(group, {})
    found = [parameters[name]] if name in parameters else []
    for i in range(2, 100):
        if f"{name}{i}" not in parameters:
            break
        found.append(parameters[f"{name}{i}"])
    return found


def _texts(section: Section, group: str, name: str) -> tuple[str, ...]:
    return tuple(text for parameter in rows_of(section.groups, group, name) for text in parameter.texts)


def _named(labels: tuple[str, ...], count: int, word: str) -> tuple[str, ...]:
    """Exactly ``count`` labels; unnamed ones are numbered from 1."""
    return tuple(labels[i] if i < len(labels) and labels[i] else f"{word} {i + 1}" for i in range(count))


def _filled(texts: tuple[str, ...], count: int) -> tuple[str, ...]:
    return (texts + ("",) * count)[:count]


def _spread(section: Section, name: str, count: int, default: float) -> np.ndarray:
    """A per-channel parameter as ``count`` numbers, with ``default`` where the file holds fewer."""
    held = per_channel(section.groups, name)[:count]
    return np.concatenate([held, np.full(count - len(held), default)])


def per_channel(groups: dict[str, dict[str, Parameter]], name: str) -> np.ndarray:
    """The numbers of a parameter of the group ANALOG that has one for each channel, as many as the file holds."""
    rows = [p.values.astype(float) for p in rows_of(groups, "ANALOG", name) if p.kind != "text"]
    return np.concatenate(rows) if rows else np.empty(0)


def _offsets(section: Section, count: int, oddities: list[str]) -> tuple[np.ndarray, bool]:
    """Offsets, and whether the file declares its samples unsigned; then negative offsets mean 65536 more."""
    offset = _spread(section, "OFFSET", count, 0.0)
    words = _texts(section, "ANALOG", "FORMAT")
    unsigned = bool(words) and words[0].upper().startswith("UNSIGNED")
    negative = offset < 0
    if unsigned and negative.any():
        oddities.append(f"{negative.sum()} negative ANALOG:OFFSET values of an unsigned file were read as unsigned")
        offset = np.where(negative, offset + 65536, offset)
    elif (offset <= -16384).any():
        oddities.append(
            f"{(offset <= -16384).sum()} ANALOG:OFFSET values lie below -16383, as unsigned ones do when they are "
            "stored in a signed number; the samples decided"
        )
    return offset, unsigned


def _events(section: Section) -> tuple[tuple[float, str, str], ...]:
    """Events of the EVENT group: seconds, label, context."""
    used = number(section, "EVENT", "USED", whole=True)
    if not used:
        return ()
    times = section.groups["EVENT"].get("TIMES")
    stored = times.values.astype(float) if times is not None and times.kind != "text" else np.empty(0)
    minutes = stored[0::2][: len(stored) // 2]
    seconds = 60 * minutes + stored[1::2]
    labels, contexts = _texts(section, "EVENT", "LABELS"), _texts(section, "EVENT", "CONTEXTS")
    return tuple(
        (
            float(seconds[i]) if i < len(seconds) else float("nan"),
            labels[i] if i < len(labels) else "",
            contexts[i] if i < len(contexts) else "",
        )
        for i in range(min(int(used), 65535))
    )
