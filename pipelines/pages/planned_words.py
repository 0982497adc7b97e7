"""The answers of the analysis plan in words: comparisons, curves, dose-responses; which there are is in ``planned``.

Nothing is computed here but counts: the numbers are those of ``planned_contrasts``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pipelines.pages.refits import AGAINST, Row, differing, sensitivity, variant_words
from pipelines.pages.words import counted, outcome_words, short_unit, telling_digits
from pipelines.pool.null_reasons import REASONS
from schemas.compared import field_of
from schemas.model import suffix_unit
from schemas.outcomes_planned_doses import SYMPTOMS

#: Verdicts that say there is one; what the families' error rate is held at.
_A_DIFFERENCE, _LEVEL = ("matters", "is_there"), 0.05


@dataclass(frozen=True)
class Answer:
    """One planned comparison: its row as planned, and those that doubt it."""

    row: Row
    doubts: tuple[Row, ...]
    lacks: tuple[tuple[str, int], ...] = ()  # reason, runners
    participation: tuple[tuple[str, int], ...] = ()  # as in planned_participants, runners

    @property
    def title(self) -> str:
        """The outcome, or the quantity of a curve, in words."""
        return outcome_words(self.row.get("outcome") or self.row["quantity"])

    @property
    def words(self) -> str:
        """What is compared, without the outcome."""
        row = self.row
        condition, reference, visit, first = self._compared
        if row["contrast"] == "visit":
            return f"{condition}, from {first} to {visit}"
        change = f", its change from {first} to {visit}" if row["contrast"] == "interaction" else f" at {visit}"
        return f"{condition} less {reference}{change}"

    @property
    def _compared(self) -> list[str]:
        names = ("condition", "reference_condition", "visit", "reference_visit")
        return [str(self.row[name]).replace("_", " ") for name in names]

    @property
    def digits(self) -> int:
        """After the point: two figures of the interval's width, or of the estimate; as many as the verdict needs."""
        row = self.row
        size = abs(row["estimate_value"] or 0.0)
        if row["lower_limit_value"] is not None:
            size = row["upper_limit_value"] - row["lower_limit_value"]
        digits = min(max(1 - math.floor(math.log10(size)), 0), 6) if size > 0 else 3
        smallest = row.get("smallest_effect_value") or 0.0
        limits = [row[name] for name in ("lower_limit_value", "upper_limit_value") if row[name] is not None]
        return telling_digits(limits, (0.0, smallest, -smallest), digits)

    @property
    def unit(self) -> str:
        """Of the outcome."""
        return unit_of(self.row["outcome"])

    @property
    def verdict(self) -> str:
        """Where the interval lies against the smallest effect, or why there is none."""
        row = self.row
        if row["reason_null"]:
            return f"no answer: {row['reason_null']}"
        if row["against_smallest_effect"] is None:
            return "no smallest effect is set"
        smallest = f"{row['smallest_effect_value']:g}{'' if self.unit == '°' else ' '}{self.unit}"
        told = f"{AGAINST[row['against_smallest_effect']]} ({smallest.strip()})"
        adjusted = row["adjusted_p_value"]
        if row["against_smallest_effect"] in _A_DIFFERENCE and adjusted is not None and adjusted >= _LEVEL:
            told += " by its own interval, not with p adjusted for the number of comparisons"
        return told

    @property
    def made_of(self) -> str:
        """Of whom, and by which model, in a line."""
        row = self.row
        model = "mixed model" if row["pooling_method"] == "one_stage_mixed_model" else "random effects"
        allowed = "" if row["covariates"] == "none" else f" allowing for {row['covariates'].replace(', ', ' and ')}"
        return f"{counted(row['runner_count'], 'runner')} at {counted(row['site_count'], 'site')}, {model}{allowed}"

    @property
    def limits(self) -> list[str]:
        """What had to be left out, and who lacks what."""
        row = self.row
        found = [part for name in ("reason_simpler", "caution") for part in (row[name] or "").split("; ") if part]
        rare = row.get("rare_levels") or "none"  # a release does not hold it
        found += [] if rare == "none" else rare.split("; ")
        found += [participation_words(self.participation)] if self.participation else []
        found += self._lost if row["runner_count"] else []
        found += [f"{counted(number, 'runner')} without it: {REASONS.get(why, why)}" for why, number in self.lacks]
        later, earlier = row["condition_later_count"] or 0, row["condition_earlier_count"] or 0
        if row["contrast"] == "condition" and "order" not in row["covariates"] and is_one_sided(later, earlier):
            told = f"{later} ran it after and {earlier} before the other{self._at_each}"
            found.append(f"{told}: what comes last is in the answer")
        if row["sites_left_out"] not in (None, "none"):
            found.append(f"not in it, for want of a covariate: {row['sites_left_out']}")
        if row["excluded_trial_count"]:
            found.append(f"{counted(row['excluded_trial_count'], 'trial')} left out by the plan")
        return list(dict.fromkeys(found))

    @property
    def _lost(self) -> list[str]:
        """How many who were measured are not in it: of runners at sites, as they are counted, and not of persons."""
        row = self.row
        lacking = sum(row[f"lacking_{side}_count"] or 0 for side in ("value", "reference", "both"))
        without = row["lacking_covariate_count"] or 0
        measured = (row["measured_count"] or 0) + without
        told = ((lacking, "a value"), (without, "a covariate"))
        of = f"of {measured} who were measured{self._at_each}"
        return [f"without {what}: {number} {of}" for number, what in told if number]

    @property
    def _at_each(self) -> str:
        return ", a runner counting at each site" if self.row["travelling_runner_count"] else ""

    @property
    def each(self) -> list[tuple[str, Row]]:
        """The row as planned and those that doubt it, each with its words."""
        return [("as planned", self.row), *((variant_words(row), row) for row in self.doubts)]

    @property
    def sensitivity(self) -> str:
        """What came of analysing it in other ways, in a line."""
        return sensitivity(self.row, self.doubts, self.digits)

    @property
    def otherwise(self) -> list[str]:
        """The other ways that say something else than the analysis as planned, with what they say."""
        return differing(self.row, self.doubts, self.digits)

    @property
    def direction(self) -> str:
        """What a difference above zero means."""
        row = self.row
        condition, reference, visit, first = self._compared
        if row["contrast"] == "visit":
            return f"more at {visit} than at {first}"
        if row["contrast"] == "interaction":
            return f"{condition} less {reference} is more at {visit} than at {first}"
        return f"more in {condition} than in {reference}"


_NOT_IN_IT = {
    "not_at_visit": "without an accepted trial at the visit",
    "not_at_reference_visit": "without one at the visit it is compared with",
    "not_in_condition": "never in the condition",
    "not_in_reference": "never in the reference",
    "at_other_speed": "at another set speed",
    "sides_apart": "with sides at different sites, speeds or event methods",
    "left_out_by_plan": "left out by the plan",
    "lacking_value": "without a value on one side or both",
    "other_method": "by another event method than their site",
    "lacking_covariate": "without a covariate",
}


def not_in_it(counts: Sequence[tuple[str, int]]) -> list[str]:
    """How many of the runners of the pool are not in an answer, for each reason."""
    told = dict(counts)
    return [f"{told[word]} {words}" for word, words in _NOT_IN_IT.items() if told.get(word)]


def participation_words(counts: Sequence[tuple[str, int]]) -> str:
    """How many of the runners of the pool are in an answer, and why the others are not."""
    told = dict(counts)
    lost = ", ".join(not_in_it(counts))
    said = f"in it: {told.get('in_it', 0)} of {counted(sum(told.values()), 'runner')} with an accepted trial"
    return f"{said}; not in it: {lost}" if lost else said


@dataclass(frozen=True)
class CurveAnswer(Answer):
    """One planned comparison of curves. points: number, mean difference, lower and upper end of the band."""

    points: tuple[tuple[int, float, float, float], ...] = ()

    @property
    def unit(self) -> str:
        """Of the quantity."""
        return short_unit(suffix_unit(self.row["quantity"]))


@dataclass(frozen=True)
class DoseAnswer(Answer):
    """How one response goes with the hours in the new footwear."""

    doubts: tuple[Row, ...] = ()

    @property
    def title(self) -> str:
        """The response in words."""
        return outcome_words(str(self.row["response"]))

    @property
    def words(self) -> str:
        """What of it."""
        visit = str(self.row["visit"]).replace("_", " ")
        if self.row["response"] == SYMPTOMS:
            return f"mean over the weeks until {visit}"
        return f"change until {visit}, {str(self.row['condition']).replace('_', ' ')}"

    @property
    def unit(self) -> str:
        """Of the response."""
        return "points" if self.row["response"] == SYMPTOMS else unit_of(str(self.row["response"]))

    @property
    def made_of(self) -> str:
        """Of whom, and their hours."""
        row = self.row
        who = f"{counted(row['runner_count'], 'runner')} at {counted(row['site_count'], 'site')}"
        if row.get("mean_dose_min") is None:  # a release tells nobody's minutes, as means neither
            return who
        least, mean, most = (row[f"{name}_dose_min"] / 60 for name in ("smallest", "mean", "largest"))
        return f"{who}, {least:.0f} to {most:.0f} h, {mean:.0f} h in the mean"

    @property
    def limits(self) -> list[str]:
        """Who is not in it."""
        row = self.row
        told = (
            ("lacking_dose_count", "without the log of a week"),
            ("lacking_response_count", "without a response"),
            ("lacking_both_count", "without either"),
            ("alone_at_site_count", "alone at the site"),
        )
        return [f"{counted(row[name], 'runner')} {words}" for name, words in told if row[name]]


def unit_of(outcome: str) -> str:
    """Unit of an outcome that is compared, as pages have it."""
    return short_unit(field_of(outcome).unit)


def is_one_sided(later: int, earlier: int) -> bool:
    """Whether a coin would come down so unequally in less than 5 % of times, both sides counted (binomial)."""
    count = later + earlier
    rarer = sum(math.comb(count, n) for n in range(min(later, earlier) + 1))
    return 40 * rarer < 1 << count
