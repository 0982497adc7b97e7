"""What the pool knows for planning the next study: the components of variance of one comparison, and what follows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from pipelines.errors import Unusable
from pipelines.pool.query import open_read_only
from pipelines.science.statistics.power import MOST_RUNNERS, Components, power, runners_needed

_FIND = """
SELECT at_speed, event_method, estimate_value, between_site_sd_value, runner_sd_value, rest_sd_value, singular,
  runner_count, site_count, fitted_components, reason_simpler, reference_visit
FROM pooled_contrasts
WHERE pooling_method = 'one_stage_mixed_model' AND outcome = $outcome AND contrast = $contrast AND visit = $visit
  AND condition = $condition AND reference_condition = $reference_condition AND estimate_value IS NOT NULL
ORDER BY rest_sd_value IS NULL, site_count DESC, runner_count DESC, at_speed, event_method LIMIT 1
"""
#: Of the same comparison, what sites differ by as random effects have it, where the mixed model does not say it.
_OF_RANDOM_EFFECTS = """
SELECT between_site_sd_value FROM pooled_contrasts
WHERE pooling_method = 'random_effects_restricted_likelihood' AND outcome = $outcome AND contrast = $contrast
  AND visit = $visit AND condition = $condition AND reference_condition = $reference_condition
  AND at_speed = $at_speed AND event_method = $event_method AND reference_visit = $reference_visit
  AND between_site_sd_value IS NOT NULL
"""
_FEW_SITES = 5
#: Runners who differ by less, as a part of the difference itself, differ by how numbers are rounded.
_NOTHING = 1e-9
#: Runners beyond the first of each site, of whom fewer say little of what runners differ by. Own limit.
_FEW_RUNNERS = 10


@dataclass(frozen=True)
class Known:
    """What is known of one comparison. row: of ``pooled_contrasts``; assumed: whether the sites' SD was given;
    by_random_effects: whether it is that of random effects, the mixed model having none."""

    asked: dict[str, str]
    row: dict[str, Any]
    components: Components
    assumed: bool
    by_random_effects: bool = False

    def text(self, effect: float, aim: float, sites: Sequence[int]) -> str:
        """What a study needs, for people."""
        asked, row, parts = self.asked, self.row, self.components
        lines = [
            f"{asked['outcome']}, {asked['contrast']}: {asked['condition']} against {asked['reference_condition']} at "
            f"{asked['visit']}, from {row['runner_count']} runners at {row['site_count']} sites "
            f"({row['at_speed']}, events by {row['event_method']}).",
            f"One runner's difference has a standard deviation of {parts.of_runner:.3g}; the true difference varies "
            f"between sites by {parts.between_sites:.3g}{' (as you said)' if self.assumed else ''}.",
            "",
            f"Power for a true difference of {effect:g}, 5 % two-sided, aim {aim:g}; equal sites, each runner at one:",
            f"{'sites':>6}{'runners at each':>18}{'in all':>9}{'power':>8}",
        ]
        for count, runners, reached in self._needed(effect, aim, sites):
            each = f"more than {MOST_RUNNERS}" if runners is None else runners
            in_all = "-" if runners is None else count * runners
            lines.append(f"{count:>6}{each:>18}{in_all:>9}{reached:>8.2f}")
        return "\n".join([*lines, *self.cautions()])

    def plain(self, effect: float, aim: float, sites: Sequence[int]) -> dict[str, Any]:
        """The same for scripts. runners_at_each: null where more than are reckoned with would be needed."""
        needed = [
            {"sites": count, "runners_at_each": runners, "power": reached}
            for count, runners, reached in self._needed(effect, aim, sites)
        ]
        told = {"effect": effect, "aim": aim, "components": asdict(self.components), "site_sd_given": self.assumed}
        return {**self.asked, **told, "pool": self.row, "needed": needed, "cautions": [c for c in self.cautions() if c]}

    def _needed(self, effect: float, aim: float, sites: Sequence[int]) -> Iterator[tuple[int, int | None, float]]:
        """Of each number of sites: runners at each, None if more than are reckoned with, and the power with them."""
        for count in sites:
            runners = runners_needed(effect, self.components, count, aim)
            yield count, runners, power(effect, self.components, count, runners or MOST_RUNNERS)

    def cautions(self) -> list[str]:
        """What these numbers rest on."""
        row, told = self.row, ["", "These numbers are as sure as the components they rest on."]
        if self.by_random_effects:
            told.append(
                "What sites differ by is that of random effects (restricted likelihood): the mean of the sites' means "
                f"stands in for the mixed model ({row['reason_simpler']})."
            )
        if row["site_count"] < _FEW_SITES and not self.assumed:
            told.append(
                f"What sites differ by was seen at {row['site_count']} sites only, and may be several times as much."
            )
        if row["singular"] and not self.assumed:
            told.append(
                "There was no sign of differences between sites, which from few sites does not say there are none."
            )
        beyond = row["runner_count"] - row["site_count"]
        if beyond < _FEW_RUNNERS:
            told.append(
                f"What runners differ by was seen in {row['runner_count']} runners at {row['site_count']} sites only, "
                "and may be twice as much or more."
            )
        if not self.assumed and len(told) > 2:
            told.append("Try --between-site-sd with a larger value before you decide.")
        return told


def components_of(warehouse: Path, asked: dict[str, str], between_site_sd: float | None = None) -> Known:
    """The components of one comparison, of the row with most sites and runners. Raises Unusable if there is none.

    asked: outcome, contrast, visit, condition, reference_condition. between_site_sd: instead of that of the pool.
    """
    with open_read_only(warehouse) as connection:
        answer = connection.execute(_FIND, asked)
        names = [column[0] for column in answer.description or ()]
        rows = [dict(zip(names, row, strict=True)) for row in answer.fetchall()]
        other = None
        if rows and rows[0]["between_site_sd_value"] is None and rows[0]["site_count"] > 1:
            same = {name: rows[0][name] for name in ("at_speed", "event_method", "reference_visit")}
            other = connection.execute(_OF_RANDOM_EFFECTS, asked | same).fetchone()
    if not rows:
        raise Unusable(
            f"The pool has no components of variance of {asked['outcome']} for this comparison.",
            "a comparison that pooled_answers has by one_stage_mixed_model.",
            'See manystrides sql "SELECT DISTINCT outcome, contrast, visit, condition, reference_condition FROM '
            "pooled_answers WHERE pooling_method = 'one_stage_mixed_model'\".",
            file=warehouse,
        )
    row = rows[0]
    by_random_effects = other is not None and between_site_sd is None
    if by_random_effects and other is not None:
        row["between_site_sd_value"] = other[0]
    _refuse_unknown(row, between_site_sd, warehouse)
    between = row["between_site_sd_value"] if between_site_sd is None else between_site_sd
    of_runner = ((row["runner_sd_value"] or 0.0) ** 2 + row["rest_sd_value"] ** 2) ** 0.5
    if not of_runner > _NOTHING * max(abs(row["estimate_value"]), between):
        raise Unusable(
            f"The differences of the {row['runner_count']} runners do not vary within their sites.",
            "runners whose differences vary, as those of a further study will.",
            "Plan from another outcome or comparison.",
            file=warehouse,
        )
    parts = Components(float(between), float(of_runner))
    return Known(asked, row, parts, between_site_sd is not None, by_random_effects)


def _refuse_unknown(row: dict[str, Any], between_site_sd: float | None, warehouse: Path) -> None:
    """Raises Unusable where the pool does not tell a component that nobody gave."""
    sites = row["site_count"]
    if row["rest_sd_value"] is None:
        raise Unusable(
            f"The pool has one runner at each of {sites} sites, which says nothing of what runners differ by.",
            "a comparison with several runners at a site.",
            "Take in more runners first, or plan from another outcome or comparison.",
            file=warehouse,
        )
    if between_site_sd is None and row["between_site_sd_value"] is None:
        why = "It rests on one site, which says nothing of what sites differ by."
        if sites > 1:
            why = (
                f"The mean of {sites} sites' means stands in for the mixed model, and does not say what sites differ by"
                f" ({row['reason_simpler']})."
            )
        raise Unusable(
            why,
            "a comparison of several sites, by the mixed model.",
            "Say with --between-site-sd what to reckon with.",
            file=warehouse,
        )
