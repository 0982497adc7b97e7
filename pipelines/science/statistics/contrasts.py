"""Differences between conditions and between visits: within runners, then at each site.

Everything starts from one mean per runner, visit, condition and set speed, so that a runner counts once however long
the recordings, and no number mixes two speeds. Pooling over sites is in ``pooled``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from pipelines.science.frames import frame_of, typed_frame
from pipelines.science.statistics.comparisons import COMPARED, METHOD, SPEED, WHO, at_speeds, groups, why_no_interval
from pipelines.science.statistics.pooling import effect_row, mean_effect
from schemas.outcomes_contrasts import RUNNER_CONTRASTS, SITE_CONTRASTS
from schemas.processing import Processing

if TYPE_CHECKING:
    import pandas as pd

_CELL = [*WHO, SPEED, METHOD, "condition"]
_VALUES = {"mean_value": "condition_mean_value", "trial_count": "condition_count"}
_REFERENCE = {"mean_value": "reference_mean_value", "trial_count": "reference_count"}

#: Words in which codes stand for places, as ``_coded`` has those of means.
_CONTRASTS = ("condition", "interaction", "visit")
_LACKS = ("no_value", "no_value_in_reference", "no_value_in_either")
_Words = Mapping[str, "pd.api.extensions.ExtensionArray"]


def runner_contrasts(means: pd.DataFrame, processing: Processing, visits: Sequence[str] = ()) -> pd.DataFrame:
    """``runner_contrasts`` less provenance: a row per runner, site, speed, method, outcome and comparison.

    means: participant_id, site, visit, condition, set_speed_m_per_s, event_method, outcome, mean_value (of the runner's
    trials, footfalls having been averaged within each trial before) and trial_count; a row per runner, site, visit,
    condition, speed, method and outcome. visits: in the order of the plan; later ones are compared with the first.

    A runner who was measured on both sides of a comparison but has no value of the outcome on one has a row without a
    difference, if anybody at the site has one: what is lost may go with what was to be measured.
    """
    import pandas as pd

    means, words = _coded(means)
    recorded = means[["site", METHOD, "outcome"]].drop_duplicates()
    full = means[_CELL].drop_duplicates().merge(recorded, on=["site", METHOD]).merge(means, how="left")
    conditions = _conditions(full, _places(words["condition"], [processing.contrasts.reference_condition])[0])
    parts = [conditions]
    if visits:
        in_order = _places(words["visit"], visits)
        parts.append(_visits(full.rename(columns=_VALUES), in_order, ["condition"], "visit"))
        parts[1]["reference_condition"] = parts[1]["condition"]
        named = {"difference_value": "condition_mean_value", "trial_count": "condition_count"}
        kept = [*_CELL, "reference_condition", "outcome", *named]
        differences = conditions[kept].rename(columns=named)
        parts.append(_visits(differences, in_order, ["condition", "reference_condition"], "interaction"))
    pairs = pd.concat(parts, ignore_index=True)
    lacks, also = pairs["condition_mean_value"].isna(), pairs["reference_mean_value"].isna()
    pairs["reason_null"] = (lacks + 2 * also - 1).astype("int64")
    order = [*WHO, SPEED, METHOD, "outcome", "contrast", "reference_visit", "reference_condition", "condition"]
    return typed_frame(RUNNER_CONTRASTS, _in_words(pairs.sort_values(order, ignore_index=True), words))


def _coded(means: pd.DataFrame) -> tuple[pd.DataFrame, _Words]:
    """The means with whole numbers in place of words, in the order of the words, and the words of each column.

    To join and to sort a million rows by ten columns of texts takes several times as long, and as much memory.
    """
    import pandas as pd

    columns, words = {}, {}
    for name in ("participant_id", "site", "visit", "condition", METHOD, "outcome"):
        columns[name], found = pd.factorize(means[name].astype(object), sort=True)
        words[name] = pd.array(list(found), dtype="str")
    return means.assign(**columns), words


def _places(words: pd.api.extensions.ExtensionArray, wanted: Sequence[str | None]) -> list[int | None]:
    """The places of some words; -2, which stands for no row, of one that is not there, None of None."""
    place = {word: number for number, word in enumerate(words)}
    return [None if word is None else place.get(word, -2) for word in wanted]


def _in_words(rows: pd.DataFrame, words: _Words) -> pd.DataFrame:
    """The rows with the words for which numbers stand."""
    import pandas as pd

    told = dict(words) | {
        "reference_visit": words["visit"],
        "reference_condition": words["condition"],
        "contrast": pd.array(list(_CONTRASTS), dtype="str"),
        "reason_null": pd.array(list(_LACKS), dtype="str"),
    }
    return rows.assign(**{name: own.take(rows[name].to_numpy(), allow_fill=True) for name, own in told.items()})


def _conditions(full: pd.DataFrame, reference: int | None) -> pd.DataFrame:
    """Each condition less the reference, at one visit; without one each less any that comes before it by name."""
    renamed = {"condition": "reference_condition", **_REFERENCE}
    pairs = full.rename(columns=_VALUES).merge(full.rename(columns=renamed), on=[*WHO, SPEED, METHOD, "outcome"])
    first, later = pairs["reference_condition"], pairs["condition"]
    pairs = pairs[first < later if reference is None else (first == reference) & (later != reference)]
    return _less(pairs.assign(contrast=_CONTRASTS.index("condition"), reference_visit=pairs["visit"]))


def _visits(rows: pd.DataFrame, visits: Sequence[int | None], apart: Sequence[str], contrast: str) -> pd.DataFrame:
    """Each later visit less the first of the plan, of rows with condition_mean_value and condition_count."""
    first = rows[rows["visit"] == visits[0]].rename(
        columns={
            "visit": "reference_visit",
            "condition_mean_value": "reference_mean_value",
            "condition_count": "reference_count",
        }
    )
    later = rows[rows["visit"].isin(visits[1:])]
    same = ["participant_id", "site", SPEED, METHOD, "outcome", *apart]
    return _less(later.merge(first, on=same).assign(contrast=_CONTRASTS.index(contrast)))


def _less(pairs: pd.DataFrame) -> pd.DataFrame:
    return pairs.assign(
        difference_value=pairs["condition_mean_value"] - pairs["reference_mean_value"],
        trial_count=(pairs["condition_count"].fillna(0) + pairs["reference_count"].fillna(0)).astype("int64"),
    )


def site_contrasts(contrasts: pd.DataFrame, processing: Processing) -> pd.DataFrame:
    """``site_contrasts`` less provenance, from rows of ``runner_contrasts``: each site's mean difference, paired t."""
    contrasts = at_speeds(contrasts, processing.contrasts)
    rows: list[dict[str, Any]] = []
    for key, group in groups(contrasts, (*COMPARED, "site")):
        reason = why_no_interval(group, processing.contrasts)
        effect = mean_effect(group.differences.tolist()) if reason is None else None
        row = dict(zip((*COMPARED, "site"), key, strict=True)) | effect_row(effect) | group.counted()
        row |= {"runner_count": len(group.differences), "reason_null": reason}
        mean = float(group.differences.mean()) if len(group.differences) else None
        rows.append(row | {"estimate_value": mean})
    return frame_of(SITE_CONTRASTS, rows)
