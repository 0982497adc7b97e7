"""The one-stage model against the whole model it is reduced from, against statsmodels, and against plain t-tests."""

from __future__ import annotations

import re
import warnings
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats
from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec  # type: ignore[import-untyped]

from pipelines.science.statistics.mixed_model import Design, NoFit, fit_components
from pipelines.science.statistics.one_stage import OneStage, fit_layout, layout, one_stage, one_stage_each
from pipelines.science.statistics.pooling import mean_effect
from pipelines.science.statistics.unequal_noise import hardly_seen, unequal_noise
from tests.tries import tries

Study = tuple[NDArray[Any], NDArray[Any], NDArray[Any]]


def study(
    seed: int, sizes: tuple[int, ...], travelling: int, *, site: float, runner: float, rest: float = 1.0
) -> Study:
    """Differences, runners and sites: ``sizes`` runners stay at each site, and some were at all of them."""
    rng = np.random.default_rng(seed)
    names = [f"S{s}-{i}" for s, size in enumerate(sizes) for i in range(size)]
    sites = [s for s, size in enumerate(sizes) for _ in range(size)]
    names += [f"T{t}" for t in range(travelling) for _ in sizes]
    sites += [s for _ in range(travelling) for s in range(len(sizes))]
    runners, at = np.array(names), np.array(sites)
    _, who = np.unique(runners, return_inverse=True)
    own, of_site = rng.normal(0, runner, who.max() + 1), rng.normal(0, site, len(sizes))
    return 0.5 + of_site[at] + own[who] + rng.normal(0, rest, len(at)), runners, at


def alike(labels: NDArray[Any]) -> NDArray[Any]:
    return np.asarray((labels[:, None] == labels[None, :]).astype(float))


@tries(25)
@given(
    st.integers(0, 10_000),
    st.sampled_from([0.0, 0.5, 3.0]),
    st.sampled_from([0.0, 1.0]),
    st.integers(0, 7),
    st.booleans(),
)
def test_nothing_is_lost_when_runners_who_were_at_the_same_sites_are_reduced_to_their_means(
    seed: int, site: float, runner: float, travelling: int, with_covariate: bool
) -> None:
    differences, runners, sites = study(seed, (3, 6, 4, 1), travelling, site=site, runner=runner)
    came = np.random.default_rng(seed).random(len(sites)) > 0.2  # to some of the sites
    came |= ~np.char.startswith(runners, "T") | (runners == "T0")
    differences, runners, sites = differences[came], runners[came], sites[came]
    extra = np.random.default_rng(seed).normal(size=(len(sites), 1)) if with_covariate else None
    short = layout(runners, sites, extra)
    fixed = np.ones((len(sites), 1)) if extra is None else np.column_stack([np.ones(len(sites)), extra])
    parts = [alike(sites), *([alike(runners)] if travelling else []), np.eye(len(sites))]
    whole = fit_components(differences, Design.of(fixed, np.array(parts)))
    found = fit_layout(differences, short)
    assert len(short.kept) < len(sites)
    assert found.fits.minus_two_log_likelihood == pytest.approx(whole.minus_two_log_likelihood, abs=1e-5)
    assert found.estimates == pytest.approx(whole.estimates[:, 0], abs=1e-3)
    assert found.fits.errors == pytest.approx(whole.errors, rel=2e-3)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("site", [0.0, 1.0])
def test_sites_of_equal_size_give_the_t_of_their_means_unless_runners_within_sites_vary_more_than_these_tell(
    seed: int, site: float
) -> None:
    differences, runners, sites = study(seed, (6, 6, 6, 6), 0, site=site, runner=0.0)
    found = one_stage(differences, runners, sites)
    means = differences.reshape(4, 6).mean(axis=1)
    plain = stats.ttest_1samp(means, 0.0)
    ends = plain.confidence_interval()
    assert found.freedom == pytest.approx(3.0, abs=1e-3)
    within = differences.reshape(4, 6).var(axis=1, ddof=1).mean()
    if 6 * means.var(ddof=1) >= within:
        assert found.p_value == pytest.approx(plain.pvalue, abs=1e-4)
        assert (found.effect.lower, found.effect.upper) == pytest.approx((ends.low, ends.high), abs=1e-4)
    else:
        assert found.effect.upper - found.effect.lower > ends.high - ends.low
        assert found.effect.standard_error == pytest.approx(differences.std(ddof=1) / np.sqrt(24), rel=1e-3)


def test_an_outcome_without_a_fit_takes_none_from_the_outcomes_it_is_fitted_together_with() -> None:
    usual, runners, sites = study(4, (2, 3, 2), 5, site=1.0, runner=1.0)
    by_runner = np.unique(runners, return_inverse=True)[1].astype(float)  # the same at each of a traveller's sites
    constant = np.full(len(usual), 2.0)
    sets = np.array([usual, by_runner, constant, 2 * usual])
    together = one_stage_each(sets, runners, sites)
    for own, found in zip(sets, together, strict=True):
        (alone,) = one_stage_each(own[None, :], runners, sites)
        if isinstance(found, OneStage) and isinstance(alone, OneStage):
            assert (found.fitted, found.simpler) == (alone.fitted, alone.simpler)
            assert found.effect.standard_error == pytest.approx(alone.effect.standard_error, rel=1e-9)
        else:
            assert str(found) == str(alone)
    assert [getattr(found, "fitted", str(found)) for found in together] == [
        "site_and_runner",
        "site_means",
        "the values do not vary",
        "site_and_runner",
    ]


def test_one_site_is_a_paired_t() -> None:
    differences, runners, sites = study(3, (8,), 0, site=0.0, runner=0.0)
    found, plain = one_stage(differences, runners, sites), mean_effect(differences.tolist())
    assert (found.effect.lower, found.effect.upper) == pytest.approx((plain.lower, plain.upper), abs=1e-6)
    assert (found.fitted, found.between_site_sd) == ("one_site", None)


@pytest.mark.parametrize("seed", [1, 2, 4])
def test_statsmodels_finds_the_same_sites_and_travelling_runners(seed: int) -> None:
    differences, runners, sites = study(seed, (6, 5, 8, 7), 5, site=1.0, runner=1.5)
    found = one_stage(differences, runners, sites)
    names, columns = [], []
    for labels in (sites, runners):
        levels = np.unique(labels)
        names.append([[str(level) for level in levels]])
        columns.append([(labels[:, None] == levels[None, :]).astype(float)])
    model = MixedLM(
        differences, np.ones((len(sites), 1)), np.zeros(len(sites)), exog_vc=VCSpec(["site", "runner"], names, columns)
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = model.fit(reml=True, method="powell")
    assert found.effect.estimate == pytest.approx(float(other.fe_params[0]), abs=2e-3)
    sds = np.sqrt([*other.vcomp, other.scale])
    assert (found.between_site_sd, found.runner_sd, found.rest_sd) == pytest.approx(tuple(sds), rel=2e-2)
    # Kenward & Roger's error is the wider one
    assert 1 <= found.effect.standard_error / float(other.bse_fe[0]) < 1.2


def test_a_runner_who_travelled_says_less_than_as_many_others() -> None:
    differences, runners, sites = study(5, (3, 3, 3), 6, site=0.3, runner=2.0, rest=0.3)
    others = np.array([f"{runner}-{site}" for runner, site in zip(runners, sites, strict=True)])
    one_person, as_three = one_stage(differences, runners, sites), one_stage(differences, others, sites)
    assert one_person.runner_sd == pytest.approx(2.0, rel=0.4)
    assert one_person.effect.standard_error > 1.1 * as_three.effect.standard_error


@pytest.mark.parametrize(("sizes", "site"), [((60, 2, 2), 0.7), ((40, 4, 4), 0.35), ((50, 3, 3, 3), 0.5)])
def test_very_unequal_sites_that_differ_keep_their_coverage(sizes: tuple[int, ...], site: float) -> None:
    rng, at = np.random.default_rng(5), np.repeat(np.arange(len(sizes)), sizes)
    differences = rng.normal(0, site, (1500, len(sizes)))[:, at] + rng.normal(0, 1, (1500, len(at)))
    found = [own for own in one_stage_each(differences, np.arange(len(at)), at) if isinstance(own, OneStage)]
    held = np.array([own.effect.lower <= 0 <= own.effect.upper for own in found])
    by_spread = np.array([own.interval == "sites_spread" for own in found])
    widths = np.array([own.effect.upper - own.effect.lower for own in found])
    assert held.mean() > 0.94
    assert not by_spread.any() or held[by_spread].mean() > 0.82
    assert np.quantile(widths, 0.99) < 40 * site, "an interval that nobody can use"


@tries(25)
@given(
    st.integers(0, 10_000),
    st.lists(st.integers(1, 30), min_size=2, max_size=6),
    st.sampled_from([0.0, 0.5, 3.0]),
    st.integers(0, 3),
    st.booleans(),
)
def test_degrees_of_freedom_are_never_fewer_than_the_sites_have_among_themselves(
    seed: int, sizes: list[int], site: float, travelling: int, with_covariate: bool
) -> None:
    differences, runners, sites = study(seed, (*sizes, 4), travelling, site=site, runner=1.0)
    extra = np.random.default_rng(seed).normal(size=(len(sites), 1)) if with_covariate else None
    found = one_stage(differences, runners, sites, extra)
    assert found.freedom >= len(sizes) * (1 - 2e-3) - (with_covariate and len(sites) - 2 <= len(sizes))
    if found.interval == "kenward_roger_sites":
        assert found.freedom > fit_layout(differences, layout(runners, sites, extra)).fits.freedom[0, 0]


def test_where_the_spread_of_unequal_sites_makes_the_wider_interval_it_stands_in() -> None:
    sizes = (3, 5, 10, 18, 24)
    at = np.repeat(np.arange(5), sizes)
    differences = np.random.default_rng(2).normal(0, 1, (200, 60))
    fits = fit_layout(differences, layout(np.arange(60), at))
    reach = stats.t.ppf(0.975, np.maximum(fits.fits.freedom[:, 0], 4)) * fits.fits.errors[:, 0]
    own = stats.t.ppf(0.975, fits.freedom) * fits.errors
    assert 0.1 < fits.by_spread.mean() < 0.5
    assert (own[fits.by_spread] > reach[fits.by_spread]).all()
    assert own[~fits.by_spread] == pytest.approx(reach[~fits.by_spread], rel=1e-3)
    assert (fits.freedom[fits.by_spread] == 4).all()


def test_sites_that_agree_by_luck_have_the_models_own_error_and_no_smaller_one() -> None:
    at, deviations = np.repeat(np.arange(3), 6), np.tile([1.0, -1.0], 9)
    found = one_stage(deviations + 1e-3 * at, np.arange(18), at)
    within = np.sqrt((deviations**2).sum() / 17 / 18)  # 17: the model without sites has one mean
    assert found.interval == "kenward_roger"
    assert found.effect.standard_error == pytest.approx(within, rel=1e-3)
    assert found.freedom == pytest.approx(2, rel=1e-3)
    # lme4 1.1-31 and pbkrtest 0.5.2 in R 4.2.2 say of three sites of eight with means .30, .31, .305 and SD .8 within
    # (as here, Student's t on the sites' two degrees of freedom): error 0.156, p 0.19
    apart = np.tile([1.0, -1.0], 12) * 0.8 * np.sqrt(7 / 8)
    as_in_r = one_stage(np.repeat([0.30, 0.31, 0.305], 8) + apart, np.arange(24), np.repeat(np.arange(3), 8))
    assert as_in_r.effect.standard_error == pytest.approx(0.156, rel=0.02)
    assert as_in_r.p_value == pytest.approx(0.19, abs=0.01)


@tries(25)
@given(
    st.integers(0, 10_000),
    st.lists(st.integers(1, 20), min_size=2, max_size=6),
    st.sampled_from([0.0, 0.3, 2.0]),
    st.integers(0, 3),
)
def test_no_interval_of_the_model_is_narrower_than_kenward_and_rogers(
    seed: int, sizes: list[int], site: float, travelling: int
) -> None:
    differences, runners, sites = study(seed, (*sizes, 4), travelling, site=site, runner=1.0)
    found = one_stage(differences, runners, sites)
    fits = fit_layout(differences, of := layout(runners, sites)).fits
    if found.fitted in ("site", "site_and_runner"):
        freedom = max(float(fits.freedom[0, 0]), of.sites_freedom * (1 - 1e-3))
        reach = stats.t.ppf(0.975, freedom) * fits.errors[0, 0]
        assert (found.effect.upper - found.effect.lower) / 2 > reach * (1 - 1e-3)


def test_the_mean_of_sites_that_agree_by_luck_has_the_error_of_the_runners_within_them() -> None:
    sizes, spreads = (8, 8, 12), (1.0, 1.0, 5.0)
    at = np.repeat(np.arange(3), sizes)
    own = [sd * np.tile([1.0, -1.0, 0.4, -0.4], n // 4) for n, sd in zip(sizes, spreads, strict=True)]
    deviations = np.concatenate(own)
    found = one_stage(deviations + 1e-3 * at, np.arange(28), at)
    assert (found.fitted, found.interval) == ("site_means", "runners_within_sites")
    parts = np.array([one.var(ddof=1) / len(one) for one in own])
    assert found.effect.standard_error == pytest.approx(np.sqrt(parts.sum()) / 3, rel=1e-3)
    assert found.freedom == 2.0, "that sites agree does not make more of them"
    apart = one_stage(deviations + 3.0 * at, np.arange(28), at)
    assert apart.interval == "sites_spread"
    assert apart.effect.standard_error == pytest.approx(3.0 / np.sqrt(3)), "where they do not, only they count"


@tries(25)
@given(st.integers(0, 10_000), st.sampled_from([(20, 10), (10, 10, 10), (12, 12, 12, 12, 12)]), st.floats(0, 1))
def test_where_sites_means_stand_in_the_larger_error_counts_with_the_degrees_of_freedom_of_the_sites(
    seed: int, sizes: tuple[int, ...], site: float
) -> None:
    chance = np.random.default_rng(seed)
    at = np.repeat(np.arange(len(sizes)), sizes)
    spreads = chance.choice([0.3, 1.0, 3.0], len(sizes))
    differences = chance.normal(0, site, len(sizes))[at] + chance.normal(0, 1, len(at)) * spreads[at]
    found = one_stage(differences, np.arange(len(at)), at)
    if found.fitted == "site_means":
        assert found.freedom == len(sizes) - 1
        assert found.effect.upper - found.effect.lower == pytest.approx(
            2 * stats.t.ppf(0.975, len(sizes) - 1) * found.effect.standard_error
        )
        by_site = [differences[at == one] for one in range(len(sizes))]
        within = np.sqrt(sum(own.var(ddof=1) / len(own) for own in by_site)) / len(sizes)
        spread = np.std([own.mean() for own in by_site], ddof=1) / np.sqrt(len(sizes))
        assert found.effect.standard_error == pytest.approx(max(within, spread))


def test_what_goes_with_a_covariate_is_taken_out_of_the_difference() -> None:
    differences, runners, sites = study(8, (8, 8, 8, 8), 0, site=0.2, runner=0.0, rest=0.1)
    order = np.where(np.arange(len(sites)) % 4 == 0, -1.0, 1.0)
    biased = differences + 3.0 * order
    with_order = one_stage(biased, runners, sites, order[:, None])
    without = one_stage(differences, runners, sites)
    assert with_order.effect.estimate == pytest.approx(without.effect.estimate, abs=0.05)
    assert with_order.effect.standard_error < 0.2


@tries(15)
@given(st.integers(0, 10_000), st.sampled_from([0.0, 0.5, 3.0]), st.sampled_from([1e-4, 1e4]))
def test_sign_and_unit_of_the_differences_only_change_sign_and_unit_of_the_answer(
    seed: int, site: float, factor: float
) -> None:
    differences, runners, sites = study(seed, (3, 5, 4), 2, site=site, runner=0.5)
    plain, other = one_stage(differences, runners, sites), one_stage(-factor * differences, runners, sites)
    assert other.effect.estimate == pytest.approx(-factor * plain.effect.estimate, rel=1e-3, abs=1e-4 * factor)
    assert other.effect.standard_error == pytest.approx(factor * plain.effect.standard_error, rel=2e-2)


def test_components_that_cannot_be_told_apart_leave_the_sites_means_and_say_why() -> None:
    found = one_stage(np.array([1.0, 2.0]), np.array(["T", "T"]), np.array([0, 1]))
    assert found.fitted == "site_means"
    assert found.freedom == 1
    assert found.simpler
    assert found.effect.estimate == 1.5
    assert found.rest_sd is None, "one difference at each site: unknown, not nothing"


def test_differences_that_do_not_vary_have_no_model() -> None:
    with pytest.raises(NoFit, match="do not vary"):
        one_stage(np.full(6, 0.25), np.arange(6), np.repeat([0, 1], 3))


UNEQUAL = (40, 4, 4, 4, 4), (3.0, 0.3, 0.3, 0.3, 0.3)


def test_where_the_largest_site_varies_most_the_mean_of_the_sites_means_holds_the_truth_and_says_why() -> None:
    sizes, spreads = UNEQUAL
    rng, at = np.random.default_rng(8), np.repeat(np.arange(5), sizes)
    differences = rng.normal(0, 1, (400, len(at))) * np.repeat(spreads, sizes)
    found = [own for own in one_stage_each(differences, np.arange(len(at)), at) if isinstance(own, OneStage)]
    by_the_model = fit_layout(differences, layout(np.arange(len(at)), at))
    reach = stats.t.ppf(0.975, by_the_model.freedom) * by_the_model.errors
    assert np.mean([own.effect.lower <= 0 <= own.effect.upper for own in found]) > 0.92
    widths = np.array([own.effect.upper - own.effect.lower for own in found])
    assert np.median(widths / (2 * reach)) < 0.5, "the model's own interval is right as well, and much wider"
    assert all("vary unequally between sites" in str(own.simpler) for own in found if own.fitted == "site_means")


@pytest.mark.parametrize("travelling", [0, 3])
def test_with_covariates_or_travelling_runners_the_model_stays_and_a_caution_says_that_runners_vary_unequally(
    travelling: int,
) -> None:
    differences, runners, sites = study(3, (30, 6, 6), travelling, site=0.5, runner=0.5, rest=0.3)
    differences = np.where(sites == 0, 10 * differences, differences)
    covariate = None if travelling else np.random.default_rng(0).normal(size=(len(sites), 1))
    found = one_stage(differences, runners, sites, covariate)
    assert found.fitted != "site_means"
    assert found.caution is not None
    assert re.search(r"SD \S+ at [12], SD \S+ at 0, .*its interval may be too narrow", found.caution)


@tries(30)
@given(st.integers(0, 10_000), st.lists(st.integers(3, 12), min_size=2, max_size=5), st.floats(0.2, 5))
def test_runners_vary_unequally_where_scipys_test_of_brown_and_forsythe_says_so(
    seed: int, sizes: list[int], spread: float
) -> None:
    rng = np.random.default_rng(seed)
    groups = [rng.normal(0, spread if n else 1, size) for n, size in enumerate(sizes)]
    at = np.repeat(np.arange(len(sizes)), sizes)
    found, p_value = unequal_noise(np.concatenate(groups), at), stats.levene(*groups, center="median").pvalue
    assert (found is not None) == (p_value < 0.05)
    assert found is None or found.p_value == pytest.approx(p_value)


def test_sites_of_two_runners_are_looked_at_together_for_how_much_their_runners_vary() -> None:
    large, pairs = np.random.default_rng(1).normal(0, 4, 20), [np.array([0.1 * n, 0.1 * n + 0.5]) for n in range(5)]
    at = np.array(["big"] * 20 + [f"pair_{n}" for n in range(5) for _ in range(2)], object)
    found = unequal_noise(np.concatenate([large, *pairs]), at)
    assert found is not None
    assert found.least == ("5 sites of two runners", pytest.approx(0.5 / np.sqrt(2)))
    assert found.most[0] == "big"
    assert unequal_noise(np.concatenate([large, *pairs[:2]]), at[:24]) is None, "two such sites tell too little"


def test_beside_many_runners_who_vary_more_a_few_at_each_of_several_sites_make_no_interval_too_narrow() -> None:
    sizes = (20, 2, 2, 2, 2)
    at = np.repeat([f"site_{n}" for n in range(5)], sizes)
    spreads = np.repeat((3.0, 0.3, 0.3, 0.3, 0.3), sizes)
    differences = np.random.default_rng(4).normal(0, 1, (400, len(at))) * spreads
    every = [own for own in one_stage_each(differences, np.arange(len(at)), at) if isinstance(own, OneStage)]
    held = np.array([own.effect.lower <= 0 <= own.effect.upper for own in every])
    of_the_model = np.array([own.fitted == "site" for own in every])
    assert 20 < of_the_model.sum() < 300, "so many were not found out"
    assert held[of_the_model].mean() > 0.95
    assert held[~of_the_model].mean() > 0.95


@pytest.mark.parametrize(
    ("sizes", "seen"),
    [
        ((12, 12, 12, 12, 12), True),
        ((2, 2, 2, 2, 2), True),  # as many at each: the sites' means tell all, whatever runners vary by
        ((3, 5, 10, 18, 24), True),
        ((60, 2, 2), True),  # Student's t on two degrees of freedom is wide enough
        ((20, 2, 2, 2, 2), False),
        ((20, 20, 2, 2, 2, 2), False),
        ((40, 4, 4, 4, 4), False),
        ((40, 6, 6, 6, 6), True),
    ],
)
def test_that_noise_can_hardly_be_seen_is_said_of_designs_alone(sizes: tuple[int, ...], *, seen: bool) -> None:
    assert (hardly_seen(np.repeat(np.arange(len(sizes)), sizes), 3) is None) == seen
