"""Whether a site reads its measures off and writes them down as measured: last digits, masses of each visit.

One site's oddity is rarely proof of a fault, so every finding here is a note. Great Expectations carries the
expectations out (``expectations``).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from checks.context import Pool
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from checks.site.expectations import Expected, carry_out
from checks.site.pool import unit_of, words_of
from pipelines.science.statistics import windows as site_windows

if TYPE_CHECKING:
    import pandas as pd

#: What a lab reads off: column of ``runners`` -> the finest step that is common practice.
READ_TO = {"mass_kg": 0.1, "stature_m": 0.01, "leg_length_m": 0.01}
_HEAPING_DIGITS = (0, 5)


@check(
    about=Subject.SITE,
    weight=Weight.NOTES,
    seen="{what_is_seen}.",
    expected="The last digit, counting {step:g}{unit}, is every digit about as often.",
    remedy="Ask how the value is read and written down: scales and tape read to {step:g}{unit} give every last digit. "
    "Values already rounded are kept; from now on write down what the instrument shows.",
    words=("what_is_seen", "step", "unit"),
    limits={
        "least_values": Limit("1", "own choice: with fewer even all on 0 or 5 could be chance"),
        "least_for_all_digits": Limit("1", "common practice: chi-square needs 5 expected in each of ten classes"),
        "chance": Limit("1", "own choice: three columns per site, so one false note in several hundred sites"),
    },
)
def last_digits_show_no_preference(
    site: str,
    outcomes: Pool,
    *,
    least_values: float = 6,
    least_for_all_digits: float = 50,
    chance: float = 0.0005,
) -> Looked:
    """Measured masses, statures and leg lengths end in every digit, not mostly in 0 and 5.

    Preferred digits tell of rounding or of values written from memory; either makes body weights, and with them every
    force outcome, coarser than they look. Set speeds and minutes of running are not looked at: protocols and runners
    choose round ones.
    """
    answers, faults = [], []
    for column, step in READ_TO.items():
        values = _one_per_runner(outcomes, site, column)
        if len(values) < least_values:
            continue
        digits = values.assign(last_digit=site_windows.last_digits(values[column].to_numpy(float), step))
        told = carry_out(digits, _digits_expected(column, len(digits), least_for_all_digits, chance))
        answers += told
        if any(not answer.met for answer in told):
            unit = f" {unit_of('runners', column)}"
            seen = _digits_seen(digits["last_digit"].to_numpy(), words_of(column))
            faults.append({"what_is_seen": seen, "step": step, "unit": unit, "place": column})
    return (
        looked(len(answers), faults, answers) if answers else nothing(f"fewer than {least_values:g} runners measured")
    )


def _one_per_runner(pool: Pool, site: str, column: str) -> pd.DataFrame:
    """What the site measured, each runner once; masses with those of the day of each session, unless copied."""
    runners = pool["runners"]
    own = runners.loc[runners["site"] == site, ["participant_id", column]]
    if column == "mass_kg":
        import pandas as pd

        sessions = pool["sessions"]
        own = pd.concat([own, sessions.loc[sessions["site"] == site, ["participant_id", column]]])
    return own.dropna().drop_duplicates().reset_index(drop=True)


def _digits_expected(column: str, count: int, least_for_all_digits: float, chance: float) -> list[Expected]:
    most = site_windows.most_heaped(count, len(_HEAPING_DIGITS) / 10, chance)
    usual = {"table": "runners", "measured": column}
    mostly = max(0.0, 1 - most / count - 1e-9)
    wanted = [
        Expected(
            "expect_column_values_to_not_be_in_set",
            "last_digit",
            arguments={"value_set": list(_HEAPING_DIGITS), "mostly": mostly},
            about={**usual, "unit": "values on 0 or 5", "lower": None, "upper": most},
        )
    ]
    if count >= least_for_all_digits:
        most_kl = site_windows.most_divergence(count, chance)
        even = {"values": list(range(10)), "weights": [0.1] * 10}
        wanted.append(
            Expected(
                "expect_column_kl_divergence_to_be_less_than",
                "last_digit",
                arguments={"partition_object": even, "threshold": most_kl},
                about={**usual, "unit": "divergence from equal shares", "lower": None, "upper": most_kl},
            )
        )
    return wanted


def _digits_seen(digits: np.ndarray, what: str) -> str:
    counts = np.bincount(digits, minlength=10)
    first = f"{int(counts[list(_HEAPING_DIGITS)].sum())} of {len(digits)} values of {what} end in 0 or 5"
    best = int(np.argmax(counts))
    return f"{first}; the most frequent last digit is {best}, {int(counts[best])} times"


@check(
    about=Subject.SITE,
    weight=Weight.NOTES,
    seen="In {equal} of {pairs} cases a runner's mass is the same to {step_kg:g} kg as at the visit before.",
    expected="At most {most} of {pairs}: people weighed weeks apart seldom read exactly the same.",
    remedy="Ask whether runners are weighed at each visit or the mass of the first visit is copied. Forces are divided "
    "by it, so weigh each runner on the day, in running clothes, without shoes.",
    words=("equal", "pairs", "most"),
    limits={
        "least_pairs": Limit("1", "own choice"),
        "equal_share": Limit(
            "1", "own reckoning: masses that vary by 0.7 kg (SD) from visit to visit, read to 0.5 kg, agree so often"
        ),
        "chance": Limit("1", "own choice: one comparison per site"),
        "step_kg": Limit("kg", "common practice: scales read to 0.1 kg"),
    },
)
def masses_are_weighed_anew_at_each_visit(
    site: str,
    outcomes: Pool,
    *,
    least_pairs: float = 8,
    equal_share: float = 0.25,
    chance: float = 0.001,
    step_kg: float = 0.1,
) -> Looked:
    """Runners are weighed at every visit; the mass of an earlier one is not copied.

    Body mass changes over weeks, and every force outcome is divided by it.
    """
    sessions = outcomes["sessions"]
    own = sessions[(sessions["site"] == site) & sessions["mass_kg"].notna()]
    own = own.sort_values(["participant_id", "study_day", "session_id"])
    steps = own.groupby("participant_id")["mass_kg"].diff().dropna()
    pairs = (steps / step_kg).round().abs().to_frame("change").reset_index(drop=True)
    if len(pairs) < least_pairs:
        return nothing(f"{len(pairs)} of at least {least_pairs:g} pairs of visits of one runner")
    most = site_windows.most_heaped(len(pairs), equal_share, chance)
    usual = {"table": "sessions", "measured": "mass_kg", "unit": "pairs", "lower": None, "upper": most}
    mostly = {"value_set": [0.0], "mostly": max(0.0, 1 - most / len(pairs) - 1e-9)}
    answers = carry_out(pairs, [Expected("expect_column_values_to_not_be_in_set", "change", {}, mostly, usual)])
    if answers[0].met:
        return looked(len(pairs), evidence=answers)
    fault = {"equal": len(answers[0].unexpected), "pairs": len(pairs), "most": most, "place": "mass_kg"}
    return looked(len(pairs), [fault], answers)
