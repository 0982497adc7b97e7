from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pydantic
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from pipelines.science.muscles.amplitudes import Reference
from pipelines.science.muscles.co_contraction import falconer_winter, rudolph
from schemas import fields as f
from schemas.convert.to_arrow import PANDAS_TYPES, to_arrow_table
from schemas.outcomes_muscle import CO_CONTRACTIONS, MUSCLE_AMPLITUDES, MUSCLE_BURSTS, MUSCLE_SIGNALS
from schemas.processing_signals import MuscleProcessing
from tests.as_frames import MuscleFrames, compute_muscles
from tests.pipelines.science.muscle_builders import a_recording, a_signal, some_footfalls
from tests.tries import tries

PAIR = ("soleus", "tibialis_anterior")
SETTINGS = MuscleProcessing(co_contraction_pairs=(PAIR,))
ONE, OTHER = a_recording(seed=11, strides=5), a_recording(seed=12, strides=5)
CALF, SHIN = ONE.signal, replace(OTHER.signal, muscle="tibialis_anterior")
REFERENCES = {
    ("soleus", "left"): Reference("reference_contraction", 80.0),
    ("tibialis_anterior", "left"): Reference("reference_contraction", 40.0),
}
TABLES = {
    "amplitudes": MUSCLE_AMPLITUDES,
    "bursts": MUSCLE_BURSTS,
    "co_contractions": CO_CONTRACTIONS,
    "signals": MUSCLE_SIGNALS,
}


def compute(*signals, footfalls: pd.DataFrame = ONE.footfalls, references=REFERENCES, processing=SETTINGS):
    return compute_muscles("T1", signals, footfalls, processing, references)


def counts(found: MuscleFrames) -> dict[str, int]:
    return {name: len(getattr(found, name)) for name in TABLES}


@pytest.mark.parametrize("signals", [(), (CALF, SHIN)], ids=["nothing", "two muscles"])
@pytest.mark.parametrize("name", TABLES)
def test_every_table_has_its_columns_and_types_and_can_be_stored(name: str, signals: tuple) -> None:
    rows, table = getattr(compute(*signals), name), TABLES[name]
    fields = [field for field in table.fields if field not in f.PROVENANCE]
    assert list(rows.columns) == [field.name for field in fields]
    assert [str(kind) for kind in rows.dtypes] == [PANDAS_TYPES[field.kind] for field in fields]
    stored = to_arrow_table(table, rows.assign(**{field.name: "x" for field in f.PROVENANCE}))
    assert stored.num_rows == len(rows)
    assert not rows.duplicated(list(table.key)).any()


def test_two_muscles_of_one_side_have_rows_in_every_table() -> None:
    found = compute(CALF, SHIN)
    # five footfalls of four windows, the last without swing; two methods; two formulas
    assert counts(found) == {"amplitudes": 38, "bursts": 20, "co_contractions": 38, "signals": 2}
    assert found.co_contractions["co_contraction_index"].notna().all()


def test_a_muscle_that_was_not_recorded_has_no_rows() -> None:
    found = compute(CALF)
    assert set(found.amplitudes["muscle"]) == set(found.signals["muscle"]) == {"soleus"}
    assert counts(found)["co_contractions"] == 0


def test_a_side_without_footfalls_has_no_outcomes_but_its_signal_is_told() -> None:
    found = compute(replace(CALF, side="right"), replace(SHIN, side="right"))
    assert counts(found) == {"amplitudes": 0, "bursts": 0, "co_contractions": 0, "signals": 2}
    assert found.signals["signal_to_noise_db"].between(19, 22).all()


def test_a_trial_without_footfalls_has_no_outcomes() -> None:
    assert counts(compute(CALF, footfalls=ONE.footfalls[:0]))["amplitudes"] == 0


def test_footfalls_beyond_the_record_have_no_rows() -> None:
    found = compute(replace(CALF, samples=CALF.samples[:2000]))
    assert set(found.amplitudes["footfall_number"]) == set(found.bursts["footfall_number"]) == {1}


@pytest.mark.parametrize(
    ("samples", "problem"),
    [
        (np.clip(CALF.samples, -30, 30), "saturated"),
        (np.zeros(len(CALF.samples)), "flat"),
        (np.full(len(CALF.samples), np.nan), "missing"),
    ],
    ids=["saturated", "flat", "missing"],
)
def test_a_signal_of_no_use_has_rows_without_values_and_a_reason(samples: np.ndarray, problem: str) -> None:
    found = compute(replace(CALF, samples=samples), SHIN)
    assert counts(found) == {"amplitudes": 38, "bursts": 20, "co_contractions": 38, "signals": 2}
    calf = {name: getattr(found, name).query("muscle == 'soleus'") for name in TABLES}
    assert set(calf["signals"]["signal_problem"]) == {problem}
    assert calf["signals"][["signal_to_noise_db", "baseline_uv"]].isna().all(axis=None)
    assert calf["amplitudes"][["amplitude_uv", "amplitude_fraction"]].isna().all(axis=None)
    assert calf["bursts"][["onset_before_contact_s", "offset_after_contact_s"]].isna().all(axis=None)
    assert calf["co_contractions"]["co_contraction_index"].isna().all()
    shin = found.amplitudes.query("muscle == 'tibialis_anterior'")
    assert shin["amplitude_uv"].notna().all()


def test_a_signal_of_use_has_no_problem() -> None:
    rows = compute(CALF).signals
    assert rows["signal_problem"].isna().all()
    assert list(rows["sampling_rate_hz"]) == [2000.0]
    assert list(rows["mains_notch_used"]) == [False]
    assert list(rows["missing_fraction"]) == list(rows["saturated_fraction"]) == [0.0]


def test_what_a_muscle_is_told_does_not_depend_on_the_other_channels_or_their_order() -> None:
    alone, first, last = (compute(*signals).amplitudes for signals in ((CALF,), (CALF, SHIN), (SHIN, CALF)))
    for found in (first, last):
        pd.testing.assert_frame_equal(found.query("muscle == 'soleus'").reset_index(drop=True), alone)


def test_a_muscle_opposed_by_its_own_copy_is_wholly_co_contracted() -> None:
    same = {key: Reference("dynamic_peak", 70.0) for key in REFERENCES}
    rows = compute(CALF, replace(CALF, muscle="tibialis_anterior"), references=same).co_contractions
    assert rows.query("formula == 'falconer_winter'")["co_contraction_index"].to_numpy() == pytest.approx(100)
    assert set(rows["normalisation"]) == {"dynamic_peak"}


@pytest.mark.parametrize(
    "references",
    [
        {},
        {("soleus", "left"): Reference("dynamic_peak", 80.0)},
        REFERENCES | {("soleus", "left"): Reference("dynamic_peak", 80.0)},
        REFERENCES | {("soleus", "left"): Reference("reference_contraction", 0.0)},
    ],
    ids=["none", "one only", "two kinds", "zero"],
)
def test_muscles_that_cannot_be_compared_have_no_co_contraction(references: dict) -> None:
    rows = compute(CALF, SHIN, references=references).co_contractions
    assert len(rows) == 38
    assert rows["co_contraction_index"].isna().all()
    assert set(rows["normalisation"]) == {"none"}


def test_two_rates_in_one_trial_give_the_same_co_contraction_as_one() -> None:
    slow = a_recording(seed=12, strides=5, rate_hz=1000)
    from scipy.signal import resample

    twice = replace(SHIN, samples=resample(slow.signal.samples, 2 * len(slow.signal.samples)))
    once = replace(slow.signal, muscle="tibialis_anterior")
    expected, found = (compute(CALF, shin).co_contractions["co_contraction_index"].to_numpy() for shin in (twice, once))
    assert found == pytest.approx(expected, rel=0.03)


ENVELOPES = hnp.arrays(float, 8, elements=st.floats(0.001, 10))


@settings(deadline=None)
@given(ENVELOPES, ENVELOPES, st.floats(0.1, 10))
def test_co_contraction_is_symmetric_bounded_and_scales_as_its_formula_says(a, b, scale) -> None:
    assert falconer_winter(a, b) == pytest.approx(falconer_winter(b, a))
    assert 0 <= falconer_winter(a, b) <= 100 + 1e-9
    assert falconer_winter(scale * a, scale * b) == pytest.approx(falconer_winter(a, b))
    assert rudolph(scale * a, scale * b) == pytest.approx(scale * rudolph(a, b))
    assert 0 <= rudolph(a, b) <= 2 * np.minimum(a, b).mean() + 1e-9  # low / high x (low + high) is at most 2 low


def test_a_silent_moment_has_no_ratio_and_is_left_out_and_a_missing_one_leaves_no_value() -> None:
    assert rudolph(np.array([0, 1.0]), np.array([0, 1.0])) == pytest.approx(2.0)
    for formula in (falconer_winter, rudolph):
        assert formula(np.array([np.nan, 1.0]), np.array([1.0, 1.0])) is None
        assert formula(np.empty(0), np.empty(0)) is None


@tries(60)
@given(
    hnp.arrays(
        float,
        st.integers(0, 3000),
        elements=st.one_of(st.floats(width=32), st.sampled_from([0.0, 1e300, -1e300, float("nan"), float("inf")])),
        fill=st.sampled_from([0.0, float("nan")]),
    ),
    st.sampled_from([0.0, 1.0, 899.0, 1000.0, 2000.0]),
    st.sampled_from(["V", "mV", "", "kg"]),
)
@pytest.mark.filterwarnings("ignore::RuntimeWarning")  # absurd numbers overflow; what matters is that nothing is raised
def test_no_signal_whatever_stops_the_trial(samples: np.ndarray, rate_hz: float, unit: str) -> None:
    signal = a_signal(samples, rate_hz, unit=unit)
    found = compute(signal, replace(signal, muscle="tibialis_anterior"), footfalls=some_footfalls(3, first_s=0.3))
    assert len(found.signals) == 2


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"band_low_hz": 450}, "band_low_hz must be below band_high_hz"),
        ({"normalisation": "dynamic_peak"}, "needs reference_condition"),
        ({"co_contraction_pairs": [["soleus", "soleus"]]}, "the same muscle twice"),
        ({"co_contraction_pairs": [PAIR, PAIR]}, "stands twice"),
        ({"mains_notch_hz": 55}, "50 or 60"),
    ],
)
def test_settings_that_contradict_each_other_are_refused(changes: dict, words: str) -> None:
    with pytest.raises(pydantic.ValidationError, match=words):
        MuscleProcessing.model_validate(changes)


@pytest.mark.parametrize("factor", [3.7, 1000.0])
def test_an_unknown_gain_leaves_all_that_is_divided_by_a_reference_and_no_microvolts(factor: float) -> None:
    known = compute(CALF, SHIN)
    amplified = [replace(s, samples=factor * s.samples, amplifier_gain=" Unknown ") for s in (CALF, SHIN)]
    behind = {key: replace(r, amplitude_uv=factor * r.amplitude_uv, gain_known=False) for key, r in REFERENCES.items()}
    found = compute(*amplified, references=behind)
    uv = ["amplitude_uv", "reference_uv"]
    assert found.amplitudes[uv].isna().all(axis=None)
    assert found.signals["baseline_uv"].isna().all()
    assert list(found.signals["gain_known"]) == [False, False]
    assert found.signals["signal_problem"].isna().all()
    pd.testing.assert_frame_equal(found.amplitudes.drop(columns=uv), known.amplitudes.drop(columns=uv))
    pd.testing.assert_frame_equal(found.bursts, known.bursts)
    pd.testing.assert_frame_equal(found.co_contractions, known.co_contractions)
    changed = ["baseline_uv", "gain_known"]
    pd.testing.assert_frame_equal(found.signals.drop(columns=changed), known.signals.drop(columns=changed))


@pytest.mark.parametrize(("muscle_known", "reference_known"), [(True, False), (False, True)])
def test_a_known_and_an_unknown_gain_are_never_divided(muscle_known: bool, reference_known: bool) -> None:
    calf = replace(CALF, amplifier_gain=None if muscle_known else "unknown")
    references = {key: replace(r, gain_known=reference_known) for key, r in REFERENCES.items()}
    found = compute(calf, replace(SHIN, amplifier_gain=calf.amplifier_gain), references=references)
    assert found.amplitudes["amplitude_fraction"].isna().all()
    assert set(found.amplitudes["normalisation"]) == {"none"}
    assert found.co_contractions["co_contraction_index"].isna().all()
