"""Whether samples were lost or repeated on their way: packets that a transmitter dropped, blocks that stand twice.

Looked for in the channels that channels.csv names, of the trial's own file and of the second one. A channel is judged
only if it has enough noise for equal samples to be no accident; force plates are for ``force``.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from checks.muscles import shown
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.muscles.measures import file_of
from pipelines.science.signals.coded import Coded
from pipelines.science.workspace import Workspace
from schemas.mechanics import run_edges
from schemas.reading import ChannelFacts
from schemas.trial import Trial

_NONE = "no named channel has enough noise to tell"
#: Own choices: chance must not bring about a run of equal samples, or a repeated block, in more than one of so many
#: trials; neighbouring samples of noise may depend on each other so far that a block is worth half its samples.
ONE_OF, WORTH = 1e6, 0.5
#: Own choice: from this part of equal neighbours on a channel says nothing.
TOO_COARSE = 0.8
#: Own choice: a channel that stands still for longer altogether is coarse, or its lead is off, and lost no packets.
MOST_LOST = 0.25


def _coded(work: Workspace) -> list[Coded]:
    """The channels to look at; those of a running trial's muscles that the outcomes refuse are told of elsewhere."""
    refused = {key for key, muscle in work.muscles.conditioned.items() if muscle.problem}
    if work.trial.kind != "running":
        refused = set()
    return [one for one in work.coded if (str(one.signal.muscle), str(one.signal.side)) not in refused]


def _fault(coded: Coded, trial: Trial, channels: ChannelFacts | None, sample: int, **values: Any) -> dict[str, Any]:
    at_s = coded.signal.start_s + sample / coded.signal.rate_hz
    return {
        "label": repr(coded.signal.label),
        "place": f"channel {coded.signal.label}",
        "file": file_of(coded.signal, trial, channels),
        "signal": f"channel:{coded.signal.label}",
        "moment_s": min(max(at_s, 0.0), trial.duration_s),
        **values,
    }


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="Channel {label} holds one and the same value {count} times, {lost_ms:.0f} ms together and "
    "{longest_ms:.0f} ms at the longest; look near {moment_s:.2f} s{edge}.",
    expected="A signal that moves from sample to sample as it does elsewhere, and holds a value for less than "
    "{shortest_ms:g} ms.",
    remedy="Packets of a transmitter were lost and filled with the last value or zeros: bring the receiver nearer, or "
    "keep the runner's body from between. If the device keeps its samples in its own memory, read them out and export "
    "again.",
    words=("label", "count", "lost_ms", "longest_ms", "edge"),
    limits={"shortest_ms": Limit("ms", "own choice: about the length of one packet of a transmitter")},
)
def channels_lose_no_packets(
    trial: Trial,
    channels: ChannelFacts | None,
    work: Workspace,
    *,
    shortest_ms: float = 10.0,
) -> Looked:
    """No channel holds one value, or zero, where it should go on.

    A filled gap is no silence: amplitudes in that window are too small, and the jump at its end looks like a burst.
    Longer gaps count as missing in the outcomes; shorter ones nobody would see. A foot sensor that holds its value and
    then has another one closed or opened at an unknown moment: where steps are timed by it, the trial goes back.
    """
    faults, judged = [], 0
    for coded in _coded(work):
        found = _held_runs(coded, shortest_ms / 1000)
        judged += found is not None
        if found:
            lengths = 1000 * np.array([stop - start for start, stop in found]) / coded.signal.rate_hz
            longest = found[int(np.argmax(lengths))]
            values = {"count": len(found), "lost_ms": lengths.sum(), "longest_ms": lengths.max(), "edge": ""}
            hidden = [run for run in found if _hides_an_edge(coded, *run)] if _times_steps(coded, trial) else []
            if hidden:
                longest = max(hidden, key=lambda run: run[1] - run[0])
                edge = f", where an edge was hidden that lies within {1000 * _length_s(coded, longest):.0f} ms"
                values |= {"weight": Weight.RETURNS, "edge": edge}
            proof = {"signal": None, "shows": shown.held(coded.signal, *longest, shortest_ms / 1000)}
            faults.append(_fault(coded, trial, channels, longest[0], **values) | proof)
    return looked(judged, faults) if judged else nothing(_NONE)


def _length_s(coded: Coded, run: tuple[int, int]) -> float:
    return (run[1] - run[0]) / coded.signal.rate_hz


def _times_steps(coded: Coded, trial: Trial) -> bool:
    """Whether steps, or the clock of a second file, rest on this channel."""
    if trial.kind != "running" or coded.signal.role not in ("foot_sensor", "clock"):
        return False
    return coded.signal.source == "sidecar" or not trial.plates


def _hides_an_edge(coded: Coded, start: int, stop: int) -> bool:
    """Whether the channel is at another of its two levels after a held stretch than in it."""
    low, high = np.percentile(coded.samples, [2, 98])
    return bool(abs(coded.samples[stop] - coded.samples[start]) > 0.5 * (high - low))


def _held_runs(coded: Coded, shortest_s: float) -> list[tuple[int, int]] | None:
    """Runs of equal samples that noise does not explain; None for a channel too coarse to tell.

    Runs at the channel's largest or smallest value are an amplifier at its end, which is another matter; those at the
    record's own ends are a filter that starts or a file that is filled up.
    """
    least = max(round(shortest_s * coded.signal.rate_hz), 8)
    edges = run_edges(coded.held) + np.array([0, 1])
    long_runs = edges[edges[:, 1] - edges[:, 0] >= least].tolist()
    chance = coded.equal_neighbours(least)
    if chance > TOO_COARSE or sum(b - a for a, b in long_runs) > MOST_LOST * len(coded.codes):
        return None
    needed = 1 + np.log(len(coded.codes) * ONE_OF) / -np.log(max(chance, 1e-3))
    ends = {float(coded.samples.min()), float(coded.samples.max())}
    inside = [(a, b) for a, b in long_runs if a > 0 and b < len(coded.codes)]
    return [(a, b) for a, b in inside if b - a >= needed and float(coded.samples[a]) not in ends]


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="In channel {label} the {length_ms:.0f} ms from {moment_s:.2f} s stand there twice, value by value, "
    "{lag_ms:.0f} ms apart{more}.",
    expected="Samples that noise makes different each time.",
    remedy="The recorder, or its export, wrote one block twice. Export the trial again from the recorder's own copy; "
    "if it is there too, record again, since nobody can tell whether the block replaces another or was put in between, "
    "which shifts everything after it.",
    words=("label", "length_ms", "lag_ms", "more"),
    limits={"shortest_ms": Limit("ms", "own choice: long enough for the noise of a usual channel to tell")},
)
def no_block_of_samples_stands_twice(
    trial: Trial,
    channels: ChannelFacts | None,
    work: Workspace,
    *,
    shortest_ms: float = 40.0,
) -> Looked:
    """No channel repeats a block of its own samples.

    A buffer that was written twice is a piece of good signal at a wrong time. It may make all that follows late, and no
    filter or threshold can see it.
    """
    found, judged = [], 0
    for coded in _coded(work):
        length = _telling_length(coded, shortest_ms / 1000)
        judged += length is not None
        if length is not None and (repeat := coded.repeat(length)):
            found.append((coded, *repeat))
    if not found:
        return looked(judged) if judged else nothing(_NONE)
    coded, first, second, length = max(found, key=lambda f: f[3])
    rest = len(found) - 1
    rate = coded.signal.rate_hz
    values = {
        "length_ms": 1000 * length / rate,
        "lag_ms": 1000 * (second - first) / rate,
        "more": f"; {rest} other {'channel does' if rest == 1 else 'channels do'} the like" if rest else "",
    }
    fault = _fault(coded, trial, channels, second, **values)
    proof = shown.twice(coded.signal, first, second, length, shortest_ms / 1000)
    return looked(judged, [fault | {"signal": None, "shows": proof}])


def _telling_length(coded: Coded, shortest_s: float) -> int | None:
    """Samples after which two equal stretches are no accident; None for a channel too coarse to tell."""
    if coded.held.mean() > TOO_COARSE / 2:
        return None
    chance = max(coded.alike, 1e-3)
    if chance >= 1:
        return None
    needed = np.log(len(coded.codes) ** 2 * ONE_OF) / -np.log(chance) / WORTH
    length = max(int(np.ceil(needed)), round(shortest_s * coded.signal.rate_hz))
    return length if length < 0.25 * coded.signal.rate_hz else None
