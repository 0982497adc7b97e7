"""Whether the rows of a metabolic bout are whole, in order and its own. What they say is in ``breathing_gas``."""

from __future__ import annotations

import numpy as np

from checks.breathing.bouts import NO_BOUTS, Bout, bouts_of
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from schemas.mechanics import runs
from schemas.received import Received
from schemas.trial import FloatArray


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="In {bout} the row of {later_s:g} s stands before that of {earlier_s:g} s; time goes back at {count} "
    "of {rows} rows.",
    expected="The rows of a bout in the order of their time.",
    remedy="Check that the rows of two bouts were not mixed and that elapsed_s starts once in each bout. They are "
    "used in order of time, whatever their order in the file.",
    words=("bout", "later_s", "earlier_s", "count", "rows"),
)
def breath_rows_are_in_time_order(delivery: Received) -> Looked:
    """The samples of a bout stand in the table in the order in which they were taken.

    Rows that go back in time are the usual trace of two bouts pasted under one number.
    """
    bouts, faults = bouts_of(delivery), []
    for bout in bouts:
        back = np.flatnonzero(np.diff(bout.end_s) < 0)
        if len(back):
            later, earlier = bout.end_s[back[0]], bout.end_s[back[0] + 1]
            faults.append(
                {**bout.at, "later_s": later, "earlier_s": earlier, "count": len(back), "rows": len(bout.end_s)}
            )
    return looked(len(bouts), faults) if bouts else nothing(NO_BOUTS)


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="In {bout} there is no sample between {from_s:g} s and {to_s:g} s.",
    expected="No time without samples of more than {gap_s:g} s, or of three usual intervals where these are long.",
    remedy="If the rows are in the analyser, export them and send breaths.csv again. If the mask was off or a line "
    "blocked, leave them out: a gap in the plateau leaves the energy cost empty.",
    words=("bout", "from_s", "to_s"),
    limits={"gap_s": Limit("s", "common practice: many breaths; three intervals, since averages may be half a minute")},
)
def breath_samples_have_no_long_gap(delivery: Received, *, gap_s: float = 30.0) -> Looked:
    """The samples of a bout follow each other without a long gap.

    Breathing goes on while nothing is recorded, and nobody knows how much.
    """
    faults, examined = [], 0
    for bout in bouts_of(delivery):
        times = np.unique(bout.end_s[np.isfinite(bout.oxygen) & np.isfinite(bout.carbon_dioxide)])
        if len(times) < 2:
            continue
        examined += 1
        apart = np.diff(times)
        longest = int(np.argmax(apart))
        if apart[longest] > max(gap_s, 3 * float(np.median(apart))) + 1e-9:
            faults.append({**bout.at, "from_s": times[longest], "to_s": times[longest + 1]})
    return looked(examined, faults) if examined else nothing(NO_BOUTS)


@check(
    about=Subject.DELIVERY,
    weight=Weight.RETURNS,
    seen="In {bout} {gas} reads zero in {count} of {samples} samples.",
    expected="Both gases above zero; a runner takes up oxygen and puts out carbon dioxide with every breath.",
    remedy="If the analyser has the values, export them and send breaths.csv again. If its sensor was off, take the "
    "bout out of the table.",
    words=("bout", "gas", "count", "samples"),
    limits={"share_percent": Limit("%", "own limit: a single lost sample does no harm")},
)
def gas_sensors_read_something(delivery: Received, *, share_percent: float = 5.0) -> Looked:
    """Both gas sensors read more than zero throughout a bout.

    A sensor that is off writes zeros, which are numbers like others in every mean.
    """
    faults, examined = [], 0
    for bout in bouts_of(delivery):
        for gas, samples in (("oxygen uptake", bout.oxygen), ("carbon dioxide output", bout.carbon_dioxide)):
            told = samples[np.isfinite(samples)]
            examined += len(told)
            zeros = int((told <= 0).sum())
            if zeros > share_percent / 100 * len(told) and zeros:
                faults.append({**bout.at, "gas": gas, "count": zeros, "samples": len(told)})
    return looked(examined, faults) if examined else nothing(NO_BOUTS)


def _pairs(bout: Bout) -> FloatArray:
    """(n, 2) both gases in order of time, of samples where both are known."""
    pairs = np.stack([bout.oxygen, bout.carbon_dioxide], axis=1)[np.argsort(bout.end_s, kind="stable")]
    whole: FloatArray = pairs[np.isfinite(pairs).all(axis=1)]
    return whole


@check(
    about=Subject.DELIVERY,
    weight=Weight.RETURNS,
    seen="In {bout} both gases stay at {oxygen:g} and {carbon:g} mL/min for {count} samples in a row.",
    expected="No two breaths alike: at most {same_samples:g} samples in a row with the same two values.",
    remedy="If the analyser hung or the export filled missing samples with the last one, export the bout anew without "
    "filling; what was not measured is left out.",
    words=("bout", "oxygen", "carbon", "count"),
    limits={"same_samples": Limit("1", "own limit: two gases scatter by some tens of mL/min from sample to sample")},
)
def gas_readings_do_not_freeze(delivery: Received, *, same_samples: float = 3) -> Looked:
    """Gas readings change from sample to sample.

    Values that stand still are those of a hung analyser or of filled gaps, and they make a bout look steady.
    """
    faults, examined = [], 0
    for bout in bouts_of(delivery):
        pairs = _pairs(bout)
        if len(pairs) < 2:
            continue
        examined += len(pairs)
        same = np.asarray((np.diff(pairs, axis=0) == 0).all(axis=1))
        first, end = max(runs(same), key=lambda ab: ab[1] - ab[0], default=(0, 0))
        if end - first + 1 > same_samples:
            oxygen, carbon = pairs[first]
            faults.append({**bout.at, "oxygen": oxygen, "carbon": carbon, "count": end - first + 1})
    return looked(examined, faults) if examined else nothing(NO_BOUTS)


@check(
    about=Subject.DELIVERY,
    weight=Weight.RETURNS,
    seen="The gases of {bout} are those of {other}, value by value, in {count} samples.",
    expected="Every bout its own measurement.",
    remedy="Find out which of the two was measured, export the other one anew or take it out, and send breaths.csv "
    "again.",
    words=("bout", "other", "count"),
    limits={"from_samples": Limit("1", "own limit: so many equal pairs of values do not come by chance")},
)
def no_two_bouts_are_the_same(delivery: Received, *, from_samples: float = 6) -> Looked:
    """No bout is a copy of another.

    A copy under another condition makes two shoes cost exactly the same.
    """
    bouts, faults = bouts_of(delivery), []
    first: dict[bytes, Bout] = {}
    for bout in bouts:
        pairs = _pairs(bout)
        if len(pairs) < from_samples:
            continue
        other = first.setdefault(pairs.tobytes(), bout)
        if other is not bout:
            faults.append({**bout.at, "other": other.name, "count": len(pairs)})
    return looked(len(bouts), faults) if bouts else nothing(NO_BOUTS)


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="Session {session} in '{condition}' has bouts {there} but no bout {missing}.",
    expected="The bouts of a session and condition numbered one after the other.",
    remedy="If the bout was recorded, add its rows and send breaths.csv again; if it was broken off, leave it out.",
    words=("session", "condition", "there", "missing"),
)
def bouts_are_numbered_one_after_the_other(delivery: Received) -> Looked:
    """Between the first and the last bout of a session and condition none is missing.

    A bout that was left out by mistake is only seen by the hole it leaves.
    """
    numbers: dict[tuple[str, str], set[int]] = {}
    for bout in bouts_of(delivery):
        numbers.setdefault((bout.session_id, bout.condition), set()).add(bout.number)
    faults = [
        {
            "session": session,
            "condition": condition,
            "there": ", ".join(str(n) for n in sorted(there)),
            "missing": ", ".join(str(n) for n in missing),
            "file": "breaths.csv",
            "place": f"session_id {session}, condition {condition}",
        }
        for (session, condition), there in numbers.items()
        if (missing := sorted(set(range(min(there), max(there))) - there))
    ]
    return looked(len(numbers), faults) if numbers else nothing(NO_BOUTS)
