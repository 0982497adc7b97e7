"""What speaks against a match of two clocks: contacts that it leaves unexplained, and a step in what is left.

Pure functions on times in s. A lost or doubled block of samples leaves one side of it right and moves the other by its
length: contacts there find no partner, or a partner that is off by always the same. Both are looked for, and named.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipelines.science.signals.pairing import paired
from schemas.trial import FloatArray

Trains = Mapping[str, FloatArray]
Span = tuple[float, float]
Places = NDArray[np.intp]

#: Own choice: of the contacts of either record inside the overlap this part may be missing in the other, one at a time,
#: with partners before and after that show that the clock is right there: a switch misses a contact now and then.
MISSED_SHARE = 0.1
#: Own choice, a third of a stride: an event so near to one of its own train that has a partner is a switch bouncing.
BOUNCE_S = 0.2
#: Own choice, half the shortest stride: two events without partner that are nearer are one contact told at two times.
SAME_CONTACT_S = 0.3
#: Own choice: at the ends of a record a method sees part of a contact only. Most tell a contact by both its ends, so
#: that one which begins within a contact's length (0.2 to 0.35 s in running) of the end is not told.
EDGE_S, LAST_EDGE_S = 0.3, 0.4
#: Own choice: a smaller step is less than conditions differ by.
LEAST_STEP_S = 0.005
#: Own choice: among a hundred places chance makes a step of four standard errors; of six, not once in 10,000 matches.
STEP_ERRORS, STEP_RESIDUALS = 6.0, 2.0
FEWEST_A_SIDE, FEWEST_FOR_A_STEP = 3, 6
#: Own choice: one or two events at an end scatter more than a mean, and a method is worst there.
LEAST_STEP_OF_FEW_S, STEP_ERRORS_OF_FEW = 0.015, 4.0
#: Own choice: a pair so far off the others, in their robust spread and at the least, is no pair.
FAR_SPREADS = 6.0
#: Own choice: evidence (natural logarithm of a likelihood ratio) for a stride lost in between, of some hundred places.
STRIDE_EVIDENCE = 5.0
#: Own choice, contacts: a stride lost nearer to an end than that may go unseen; of more the match is not believed.
MOST_BLIND = 5.0
#: Own choice: a residual below this is no evidence of anything finer.
FINEST_S = 0.0003


@dataclass(frozen=True)
class Line:
    """trial time = offset_s + scale x time of the second clock."""

    offset_s: float
    scale: float


def objection(
    ours: Trains,
    theirs: Trains,
    line: Line,
    tolerance_s: float,
    spans: tuple[Span, Span] | None,
    *,
    complete: bool,
    alone: bool = True,
) -> str | None:
    """Why the match cannot be believed, a sentence part without full stop; None if nothing speaks against it.

    ours, theirs: kind of event -> times on the own clock. spans: when each record begins and ends on its own; None
    stands for first and last event. complete: whether the trial's file tells every contact (force on a runway may
    not). alone: whether the match rests on these events. One that rests on
    others has told the strides apart by them; what coarser events scatter says nothing then.
    """
    moved = {kind: line.offset_s + line.scale * times for kind, times in theirs.items()}
    inside = _overlap(ours, moved, line, spans)
    matched = _near({kind: paired(ours[kind], times, tolerance_s) for kind, times in moved.items()}, ours, moved)
    pairs = [np.stack([ours[k][at[:, 0]], moved[k][at[:, 1]]], axis=1) for k, at in matched.items()]
    if not pairs:
        return None
    together = np.concatenate(pairs)
    for kind, places in matched.items():
        told = _of_kind(kind, ours[kind], moved[kind], places, inside, together[:, 0], complete=complete)
        if told:
            return told
    if step := _step(together):
        return step
    return _stride_off(ours, moved, matched) or _blind(together, ours) if alone else None


def _near(matched: Mapping[str, Places], ours: Trains, moved: Trains) -> dict[str, Places]:
    """The pairs that are as near as the others: one that is far off them is two contacts without a partner."""
    off = {kind: ours[kind][at[:, 0]] - moved[kind][at[:, 1]] for kind, at in matched.items()}
    together = np.concatenate(list(off.values())) if off else np.empty(0)
    if not len(together):
        return dict(matched)
    middle = float(np.median(together))
    spread = 1.4826 * float(np.median(np.abs(together - middle)))
    most = max(FAR_SPREADS * spread, LEAST_STEP_OF_FEW_S)
    return {kind: at[np.abs(off[kind] - middle) <= most] for kind, at in matched.items()}


def _overlap(ours: Trains, moved: Trains, line: Line, spans: tuple[Span, Span] | None) -> Span:
    """The time that both recorded, on the trial's clock."""
    if spans is None:
        one, other = (np.concatenate(list(trains.values())) for trains in (ours, moved))
        return float(max(one.min(), other.min())), float(min(one.max(), other.max()))
    (begin, end), second = spans
    late, early = (line.offset_s + line.scale * t for t in second)
    return max(begin, late), min(end, early)


def _of_kind(
    kind: str,
    ours: FloatArray,
    moved: FloatArray,
    places: NDArray[np.intp],
    inside: Span,
    together: FloatArray,
    *,
    complete: bool,
) -> str | None:
    """What one kind of event leaves unexplained. together: times of all events, of any kind, that have a partner."""
    left = [_unmatched(ours, places[:, 0], inside), _unmatched(moved, places[:, 1], inside)]
    anywhere = _unmatched(moved, places[:, 1], (-np.inf, np.inf))  # moved out of the overlap, perhaps
    for time in left[0]:
        near = anywhere[np.abs(anywhere - time) <= SAME_CONTACT_S]
        if len(near):
            apart = float(near[np.argmin(np.abs(near - time))] - time)
            return (
                f"the trial's file has a {kind} at {time:.2f} s and the second file one {1000 * abs(apart):.0f} ms "
                f"{'later' if apart > 0 else 'earlier'}, while others agree: a block of samples may be lost or doubled"
            )
    for file, times, all_times, matched in (
        ("trial's file", left[0], ours, places[:, 0]),
        ("second file", left[1], moved, places[:, 1]),
    ):
        if file == "second file" and not complete:
            continue
        within = times[(times >= inside[0] + EDGE_S) & (times <= inside[1] - LAST_EDGE_S)]
        if not len(within):
            continue
        alone = _alone(within, all_times[matched], together)
        held = int(np.sum((all_times >= inside[0]) & (all_times <= inside[1])))
        if len(within) > max(1.0, MISSED_SHARE * held) or not alone:
            where = ", ".join(f"{t:.2f} s" for t in within[:4]) + (" ..." if len(within) > 4 else "")
            return (
                f"{len(within)} of {held} events ({kind}) of the {file} have no partner in the other although both "
                f"were recording (at {where} of the trial)"
            )
    return None


def _unmatched(times: FloatArray, matched: NDArray[np.intp], inside: Span) -> FloatArray:
    """Events inside the overlap without a partner, but for bounces of one that has."""
    free = np.ones(len(times), bool)
    free[matched] = False
    rest = times[free & (times >= inside[0]) & (times <= inside[1])]
    with_partner = times[matched]
    if not len(rest) or not len(with_partner):
        return rest
    return np.asarray(rest[np.abs(rest[:, None] - with_partner[None, :]).min(axis=1) > BOUNCE_S])


def _alone(lacking: FloatArray, with_partner: FloatArray, together: FloatArray) -> bool:
    """Whether each event without partner has one with a partner before and after it, of its foot or of the other, and
    none of its own foot is beside another without."""
    if not len(with_partner):
        return False
    around = np.searchsorted(np.sort(together), lacking)
    if (around == 0).any() or (around == len(together)).any():
        return False
    return len(np.unique(np.searchsorted(with_partner, lacking))) == len(lacking)


def _step(pairs: FloatArray) -> str | None:
    """Where what is left jumps by much more than it scatters, as it does at a lost block."""
    pairs = pairs[np.argsort(pairs[:, 0], kind="stable")]
    count = len(pairs)
    if count < FEWEST_FOR_A_STEP:
        return None
    times, left = pairs[:, 0] - pairs[:, 0].mean(), pairs[:, 0] - pairs[:, 1]
    q, _ = np.linalg.qr(np.stack([np.ones(count), times], axis=1))
    left = left - q @ (q.T @ left)
    jumps = np.tri(count, count - 1, -1)  # column i: 0 up to event i, 1 from the next on
    jumps = jumps - q @ (q.T @ jumps)
    sizes = np.maximum(np.sum(jumps**2, axis=0), 1e-12)
    heights = jumps.T @ left / sizes
    place = int(np.argmax(heights**2 * sizes))
    height, gain = float(heights[place]), float(heights[place] ** 2 * sizes[place])
    scatter = float(np.sqrt(max(float(left @ left) - gain, 0.0) / (count - 3)))
    few = min(place + 1, count - place - 1) < FEWEST_A_SIDE
    least = max(LEAST_STEP_OF_FEW_S if few else LEAST_STEP_S, STEP_RESIDUALS * scatter)
    errors = STEP_ERRORS_OF_FEW if few else STEP_ERRORS
    if abs(height) < least or abs(height) < errors * scatter / np.sqrt(sizes[place]):
        return None
    return (
        f"from {pairs[place + 1, 0]:.2f} s of the trial on the second file is {1000 * abs(height):.0f} ms "
        f"{'early' if height > 0 else 'late'} against the part before: a block of samples may be lost or doubled"
    )


def _stride_off(ours: Trains, moved: Trains, matched: Mapping[str, NDArray[np.intp]]) -> str | None:
    """Where a part of the match fits better by a stride earlier or later, as it does beyond a lost stride.

    Strides are nearly even, so such a part finds partners all the same; only its scatter tells.
    """
    rows = []
    for kind, places in matched.items():
        own, other = ours[kind], moved[kind]
        for i, j in places:
            by = [own[i] - other[j + s] if 0 <= j + s < len(other) else np.nan for s in (0, 1, -1)]
            rows.append((own[i], *by))
    table = np.array(sorted(rows))
    if len(table) < FEWEST_FOR_A_STEP:
        return None
    for shifted in (2, 3):
        usable = table[np.isfinite(table[:, shifted])]
        if len(usable) < FEWEST_FOR_A_STEP:
            continue
        for late in (True, False):
            one, other = usable[:, 1], usable[:, shifted]
            best = _best_split(one, other) if late else _best_split(one[::-1], other[::-1])
            if best > STRIDE_EVIDENCE:
                return "a part of it fits better by a whole stride earlier or later: a stride may be lost or doubled"
    return None


def _blind(pairs: FloatArray, ours: Trains) -> str | None:
    """Why a stride lost within the match would not show at all: the strides are as even as the match is loose.

    With k of n contacts a stride off, the mean square of what is left would grow from r^2 to r^2 + k/n s^2, s being the
    scatter of the strides; that is evidence (as in ``_best_split``) from k = n (e^(2E/n) - 1) (r/s)^2 contacts on.
    """
    count = len(pairs)
    strides = [np.stack([times[:-1], np.diff(times)], axis=1) for times in ours.values() if len(times) > 2]
    if count < FEWEST_FOR_A_STEP or not strides:
        return None
    left = _scatter(pairs[:, 0], pairs[:, 0] - pairs[:, 1])
    scatter = _scatter(*np.concatenate(strides).T)
    unseen = count * np.expm1(2 * STRIDE_EVIDENCE / count) * (max(left, FINEST_S) / max(scatter, FINEST_S)) ** 2
    if unseen <= MOST_BLIND:
        return None
    return (
        f"the strides differ by {1000 * scatter:.1f} ms and it leaves {1000 * left:.1f} ms, so that "
        f"{min(count, np.ceil(unseen)):.0f} of its {count} events could be a stride off without a sign"
    )


def _scatter(times: FloatArray, values: FloatArray) -> float:
    """Standard deviation about the line that fits best."""
    away = times - times.mean()
    rest = values - values.mean()
    slope = float(away @ rest / (away @ away)) if away @ away > 0 else 0.0
    return float(np.sqrt(np.sum((rest - slope * away) ** 2) / max(1, len(times) - 2)))


def _best_split(straight: FloatArray, shifted: FloatArray) -> float:
    """How much likelier (natural logarithm) it is that the events from some place on belong a stride further.

    Compared are variances, each by its degrees of freedom: a split has two means and leaves two events out.
    """
    count = len(straight)
    n = np.arange(1, count)

    def scatter_up_to(values: FloatArray) -> FloatArray:
        """Sum of squares about their mean of the first 1, 2, ... values."""
        total, squares = np.cumsum(values - values.mean()), np.cumsum((values - values.mean()) ** 2)
        return np.asarray(squares - total**2 / np.arange(1, count + 1))

    whole = scatter_up_to(straight)[-1]
    # at the place itself the partners may have been lost: one event of each foot counts for neither side
    after = np.append(scatter_up_to(shifted[::-1])[:-1][::-1][2:], [0.0, 0.0])
    parts = np.maximum(scatter_up_to(straight)[:-1] + after, count * FINEST_S**2)
    freedom = np.log((count - 4) / (count - 1))
    gain = count / 2 * (np.log(max(whole, count * FINEST_S**2) / parts) + freedom)
    enough = (count - n) >= FEWEST_A_SIDE + 2
    return float(gain[enough].max()) if enough.any() else 0.0
