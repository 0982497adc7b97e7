"""Why a number of the study is null: differences, models, plan, curves, sites. The form of rules: ``null_rules``.

Most such rows say why themselves, and a rule says so; the others have columns that other methods, or more sites, would
fill.
"""

from __future__ import annotations

from collections.abc import Iterator

from pipelines.pool.null_rules import Explained, Rules
from schemas.catalogue import TABLES
from schemas.model import Kind, Table

_ROW: Rules = (("in_row", "reason_null IS NOT NULL"),)
_MIXED = "pooling_method = 'one_stage_mixed_model'"
_ONLY_MIXED: Rules = (*_ROW, ("only_mixed_model", f"NOT {_MIXED}"))
_MEANS: Rules = (("site_means", "fitted_components = 'site_means'"),)
#: What a method of pooling leaves out, beside what the row says itself.
_POOLED: tuple[tuple[tuple[str, ...], Rules], ...] = (
    (("degrees_of_freedom",), (*_ROW, ("normal_interval", "interval = 'normal'"))),
    (("between_site_sd_value",), (*_ROW, ("one_site", "fitted_components = 'one_site'"), *_MEANS)),
    (
        ("runner_sd_value",),
        (*_ONLY_MIXED, *_MEANS, ("nobody_travelled", "fitted_components IN ('site', 'one_site')")),
    ),
    (("rest_sd_value",), (*_ONLY_MIXED, ("one_runner_a_site", "fitted_components = 'site_means'"))),
    (("cochran_q_index", "heterogeneity_percent"), (*_ROW, ("only_random_effects", _MIXED))),
    (
        ("prediction_lower_value", "prediction_upper_value"),
        (*_ROW, ("two_sites_or_fewer", "site_count < 3"), *_MEANS),
    ),
    (("fitted_components",), _ONLY_MIXED),
)
_NO_PLACE: Rules = (("way_of_doubting", "variant <> 'main'"),)
_NO_SMALLEST: Rules = (("plan_sets_none", "smallest_effect_value IS NULL"),)
_OVER_SITES = ("sites_reason_null IS NOT NULL", "reason_null IS NOT NULL")


def _of_itself(table: str, *rules: tuple[tuple[str, ...], Rules], source: str | None = None) -> Explained:
    """A table whose rows say themselves why their numbers are null, but for columns that have rules of their own."""
    return Explained(
        TABLES[table],
        source or f"SELECT * FROM {table}",
        (*rules, *([(rest, _ROW)] if (rest := tuple(_others(TABLES[table], rules))) else [])),
        tuple(name for name in TABLES[table].key if name != "trial_id"),
    )


def _others(table: Table, rules: tuple[tuple[tuple[str, ...], Rules], ...]) -> Iterator[str]:
    """Columns that may be null and hold no words, of a table that has ``reason_null``, without rules of their own."""
    known = {name for names, _ in rules for name in names} | {"reason_null"}
    if "reason_null" in table.column_names:
        yield from (f.name for f in table.fields if f.nullable and f.kind is not Kind.TEXT and f.name not in known)


def _covariate(word: str) -> Rules:
    return (("not_in_plan", f"NOT list_contains(covariates, '{word}')"), ("not_known", "true"))


OF_STUDY = (
    _of_itself("energy_bouts", (("set_speed_m_per_s",), (*_ROW, ("no_speed", "true")))),
    _of_itself(
        "transition_weeks",
        (("new_footwear_rise_fraction", "new_footwear_change_fraction"), (*_ROW, ("in_row", "reason_no_change <> ''"))),
    ),
    _of_itself("runner_contrasts"),
    _of_itself("site_contrasts"),
    _of_itself("pooled_contrasts", *_POOLED),
    Explained(
        TABLES["method_offsets"],
        "SELECT * FROM method_offsets",
        (
            (
                ("sd_s",),
                (("single_footfall", "footfall_count < 2"), ("single_footfall", "offset_basis = 'other_sites'")),
            ),
        ),
        TABLES["method_offsets"].key,
    ),
    Explained(
        TABLES["analysis_plans"],
        "SELECT * FROM analysis_plans",
        ((("accepted_trial_count",), (("never_frozen", "frozen_utc IS NULL"),)),),
        TABLES["analysis_plans"].key,
    ),
    _of_itself(
        "planned_contrasts",
        *_POOLED,
        (("adjusted_p_value",), (*_NO_PLACE, *_ROW)),
        (("smallest_effect_value",), _NO_SMALLEST),
        (("against_smallest_effect",), (*_NO_SMALLEST, *_ROW)),
    ),
    Explained(
        TABLES["planned_differences"],
        """
SELECT d.*, (SELECT any_value(plan_settings::JSON ->> '$.covariates[*]') FROM analysis_plans
  WHERE plan_state <> 'replaced') AS covariates FROM planned_differences d
""",
        (
            (("order_difference_index",), _covariate("order")),
            (("speed_difference_m_per_s",), _covariate("speed")),
            (("mass_kg",), _covariate("mass")),
            (("sex",), _covariate("sex")),
        ),
        TABLES["planned_differences"].key,
    ),
    _of_itself(
        "planned_curves",
        (
            ("sites_largest_t_index", "sites_threshold_index", "sites_two_sided_p_value"),
            tuple(("in_row", sql) for sql in _OVER_SITES),
        ),
    ),
    Explained(
        TABLES["planned_curve_points"],
        f"""
SELECT p.*, c.sites_reason_null FROM planned_curve_points p
LEFT JOIN planned_curves c USING ({", ".join(TABLES["planned_curves"].key)})
""",
        (
            (
                ("sites_mean_value", "sites_lower_limit_value", "sites_upper_limit_value"),
                (("in_planned_curves", "sites_reason_null IS NOT NULL"),),
            ),
        ),
        TABLES["planned_curve_points"].key,
    ),
    _of_itself("planned_dose_responses"),
    _of_itself(
        "reliability",
        (("icc_2_1_lower_ratio", "icc_2_1_upper_ratio"), (*_ROW, ("in_row", "interval_reason_null IS NOT NULL"))),
    ),
    _of_itself("site_agreement"),
    Explained(
        TABLES["site_control_points"],
        "SELECT * FROM site_control_points",
        ((("centre_value", "lower_limit_value", "upper_limit_value"), (("few_sessions", "true"),)),),
        TABLES["site_control_points"].key,
    ),
)
