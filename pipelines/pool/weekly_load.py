"""What a week of the change-over loaded, and all until then: exposure from the log times load per kilometre. SQL."""

from __future__ import annotations

from schemas.convert.words import column_comment
from schemas.core import REPORTED_WEEKS
from schemas.outcomes_of_trials import LOADS_PER_KM

#: The tables it is made of. Reported weeks stay in the depot, and so does this.
MADE_OF = ("reported_weeks", "trial_outcomes", "trials")
ABOUT = (
    "One row is one week of one runner's change-over as reported, all footwear together: how far the runner ran in it "
    "and what that loaded, and the same of all weeks until then. Nobody measured it: minutes are as reported, speed "
    "and load per kilometre are the means of the runner's own trials in the same footwear, so that a runner who trains "
    "at another speed or on other ground has other loads. Null where a trial in some footwear of the week is lacking; "
    "what is added up is null from the first week on that is lacking or null."
)
#: Column of the view -> column of trial_outcomes that it is the sum of, and words.
_COUNTS = {
    "footfall_count": ("footfalls_per_km", "Footfalls of both legs"),
    "impact_count": ("impacts_per_km", "Of those, footfalls with an impact peak"),
}
_SUMS = _COUNTS | {
    f"{name.removesuffix('_per_km')}": (name, f"Sum of the {words} of both legs")
    for name, words in LOADS_PER_KM.items()
}
_UNITS = {"footfall_count": "", "impact_count": "", "distance_km": " in km"}


def columns() -> dict[str, str]:
    """Column of the view -> words, in order."""
    found = {name: column_comment(REPORTED_WEEKS.column(name)) for name in ("participant_id", "week")}
    found["running_min"] = "Time run in the week, all footwear [min]."
    own = {"distance_km": "Distance run in the week"} | {name: words for name, (_, words) in _SUMS.items()}
    found |= {name: f"{words}{_unit(name)}." for name, words in own.items()}
    return found | {
        f"{name}_until_then": f"{words}, added up from the first reported week on{_unit(name)}."
        for name, words in own.items()
    }


def _unit(name: str) -> str:
    return _UNITS.get(name, " in body weights times s" if name.endswith("_bw_s") else " in body weights")


def weekly_load() -> str:
    """SQL of the view."""
    means = ", ".join(f"avg(o.{per_km}) AS {per_km}" for per_km, _ in _SUMS.values())
    km = "running_min * 60 * speed / 1000"
    own = {"distance_km": km} | {name: f"{km} * {per_km}" for name, (per_km, _) in _SUMS.items()}
    weeks = ", ".join(
        f"CASE WHEN bool_and(running_min = 0 OR coalesce({value}, 'nan'::DOUBLE) < 'inf'::DOUBLE) "
        f"THEN sum(coalesce({value}, 0)) END AS {name}"
        for name, value in own.items()
    )
    whole = "count(*) OVER seen = week - min(week) OVER seen + 1"
    until = ", ".join(
        f"CASE WHEN {whole} AND count({name}) OVER seen = count(*) OVER seen THEN sum({name}) OVER seen END "
        f"AS {name}_until_then"
        for name in own
    )
    return (
        f"WITH loads AS (SELECT t.participant_id, t.condition, avg(o.speed_m_per_s) AS speed, {means} "
        "FROM trial_outcomes o JOIN trials t USING (trial_id) GROUP BY t.participant_id, t.condition), "
        f"weeks AS (SELECT w.participant_id, w.week, sum(w.running_min) AS running_min, {weeks} "
        "FROM reported_weeks w LEFT JOIN loads USING (participant_id, condition) GROUP BY w.participant_id, w.week) "
        f"SELECT *, {until} FROM weeks WINDOW seen AS (PARTITION BY participant_id ORDER BY week)"
    )
