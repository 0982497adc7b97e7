"""What the pages say about the whole study: differences between conditions, mean curves, and weeks of the change-over."""

from __future__ import annotations

import math
import statistics
from pathlib import Path

import pytest

from pipelines.pages import outcomes_shown
from pipelines.pages.change_over import CAUTION_WORDS
from pipelines.science.change_over.cautions import KINDS
from schemas.catalogue import TABLES
from tests.builders import a_study
from tests.pipelines.pages import small_warehouse as small
from tests.pipelines.pages.reading_html import Element, read
from tests.pipelines.pages.test_pages import apart, table, write
from tests.pipelines.pool.means import means_of


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write(tmp_path_factory.mktemp("study"), small.example())


def card(page: Element, title: str) -> Element:
    """The card of that heading in the section of contrasts."""
    (found,) = [
        s
        for s in page.all("section")
        if s.attributes.get("aria-labelledby", "").startswith("contrast-title")
        and s.all("h3")[0].words == f"{title} between conditions"
    ]
    return found


def summary(page: Element, title: str) -> str:
    (found,) = [c for c in page.all("svg") if c.all("title") and c.all("title")[0].words == title]
    return found.all("desc")[0].words


# differences between conditions


def test_differences_are_drawn_by_site_and_pooled_and_warned_about(pages: Path) -> None:
    page = read(pages / "answers.html")
    stride = card(page, "Stride length")
    labels = [t.words for t in stride.all("text")]
    assert {"mill, n = 3", "way, n = 3", "Mixed model, n = 6", "Random effects, n = 6"} <= set(labels)
    assert "−0.21 (−0.41 to −0.01)" in labels
    assert labels.count("Random effects, n = 6") == labels.count("Mixed model, n = 6"), "one way of pooling is drawn"
    assert "A first look, not a result." in page.words
    assert "Visit first (week 0), at 3.0 m/s: 6 runners at 2 sites" in page.words
    assert 'manystrides sql "SELECT * FROM pooled_contrasts"' in page.words


def test_the_first_visit_with_a_pooled_estimate_is_shown_and_no_other(pages: Path) -> None:
    assert "99.0" not in card(read(pages / "answers.html"), "Foot strike angle").text


def test_a_visit_without_a_pooled_estimate_is_shown_if_there_is_no_better_one(tmp_path: Path) -> None:
    rows = small.merged(small.study_rows(), small.contrast("stride_length_m", ("mill", -0.2), visit="last"))
    rows["pooled_contrasts"] = [row | {"estimate_value": None} for row in rows["pooled_contrasts"]]
    assert "Visit last (week 10)" in read(write(tmp_path, rows) / "answers.html").words


def test_heterogeneity_is_said_in_words(pages: Path) -> None:
    assert "Unshod less shod: sites differ by SD 0.120 m, I² 61 % from 2 sites." in (
        card(read(pages / "answers.html"), "Stride length").words
    )


def test_change_over_the_visits_how_sure_the_model_is_and_what_was_lost_are_said_in_words(tmp_path: Path) -> None:
    rows = small.merged(small.study_rows(), small.contrast("stride_length_m", ("mill", -0.2), ("way", -0.3)))
    model = next(row for row in rows["pooled_contrasts"] if row["pooling_method"] == "one_stage_mixed_model")
    model |= {"degrees_of_freedom": 1.24, "between_site_sd_value": 0.0}
    change = {"contrast": "interaction", "visit": "last", "reference_visit": "first", "estimate_value": 0.05}
    rows["pooled_contrasts"].append({**model, **change, "lower_limit_value": -0.01, "upper_limit_value": 0.11})
    for row, (measured, lost) in zip(rows["site_contrasts"], ((5, 2), (3, 0)), strict=True):
        row |= {"measured_count": measured, "lacking_value_count": lost, "lacking_reference_count": 0}
    words = card(read(write(tmp_path, rows) / "answers.html"), "Stride length").words
    assert "mixed model on 1.2 degrees of freedom, with no sign of differences between sites" in words
    assert "from first to last the difference changes by +0.05 m (−0.01 to +0.11)" in words
    assert "of 8 measured in both, 2 have no value in the condition alone and 0 in the reference alone" in words


def test_what_is_missing_says_why(pages: Path) -> None:
    page = read(pages / "answers.html")
    angle = card(page, "Foot strike angle").words
    assert "no random effects, 1 of at least 2 sites have an interval" in angle
    assert "no runner with both at way" in angle
    peak = card(page, "Impact peak")
    assert "Unshod less shod: no runner has this outcome in both conditions." in peak.words
    assert not peak.all("svg")


def test_the_numbers_beside_the_forest_hold_every_method(pages: Path) -> None:
    rows = table(read(pages / "answers.html"), "Stride length: differences in m")
    assert [row[0] for row in rows] == [
        f"{name} unshod less shod"
        for name in ("mill", "way", "Mixed model", "Random effects, DL", "Random effects, REML")
    ]
    assert rows[0][1:4] == ["−0.21", "−0.41 to −0.01", "3"]


def test_a_missing_interval_has_its_reason_beside_it(tmp_path: Path) -> None:
    rows = small.merged(small.study_rows(), small.contrast("stride_length_m", ("mill", -0.2), ("way", -0.3)))
    few = {"lower_limit_value": None, "upper_limit_value": None, "reason_null": "2 of at least 3 runners"}
    rows["site_contrasts"][1] |= few
    page = read(write(tmp_path, rows) / "answers.html")
    assert "way has no interval and is not in the random effects, 2 of at least 3 runners" in page.words
    assert table(page, "Stride length: differences")[1][1:] == ["−0.30", "–", "3", "2 of at least 3 runners"]


def test_every_outcome_shown_is_where_it_is_said_to_be() -> None:
    study = a_study(
        processing={"muscle": {"co_contraction_pairs": [["soleus", "tibialis"]]}},
        muscles={name: {"description": name} for name in ("gastrocnemius", "soleus", "tibialis")},
    )
    shown = outcomes_shown.shown_outcomes(study, "right")
    for outcome in shown:
        names = TABLES[outcome.table].column_names
        assert {outcome.column, *(name for name, _ in outcome.apart)} <= set(names), outcome.key
    keys = [o.key for o in shown]
    assert "soleus/right/stance/onset_before_contact_s" in keys
    assert "ankle/sagittal/segment/angle_at_contact_deg" in keys
    assert not [key for key in keys if "gastrocnemius" in key]
    assert len(set(keys)) == len(keys)


def test_names_of_outcomes_are_those_the_contrasts_get_from_the_warehouse() -> None:
    """Against the questions that make the names, over a row with the words of each outcome's own table."""
    shown = outcomes_shown.shown_outcomes(a_study(), "left")
    rows: small.Rows = {}
    for outcome in shown:
        bout = {"session_id": "S1", "condition": "shod", "set_speed_m_per_s": 3.0}
        owner = bout if outcome.table == "energy_bouts" else {"trial_id": "T1"}
        rows.setdefault(outcome.table, []).append(owner | dict(outcome.apart) | {outcome.column: 1.0})
    assert {o.key for o in shown} <= set(means_of(rows)["outcome"])


def test_outcomes_of_every_table_are_compared_between_sites(tmp_path: Path) -> None:
    joint = {"trial_id": "m-1-shod", "joint": "ankle", "plane": "sagittal", "angle_against": "segment", "side": "left"}
    burst = {"trial_id": "m-1-shod", "muscle": "soleus", "side": "left", "burst": "stance"}
    new: small.Rows = {
        "footfall_joints": [
            {**joint, "footfall_number": 1, "angle_at_contact_deg": 4.0},
            {**joint, "footfall_number": 2, "angle_at_contact_deg": 6.0},
            {**joint, "footfall_number": 2, "plane": "frontal", "angle_at_contact_deg": 90.0},
        ],
        "muscle_bursts": [
            {**burst, "footfall_number": 1, "onset_before_contact_s": 0.111},
            {**burst, "footfall_number": 1, "burst": "pre_contact", "onset_before_contact_s": 0.9},
        ],
        "sessions": [{"session_id": "S1", "participant_id": "P1", "site": "mill", "visit": "first"}],
        "energy_bouts": [
            {
                "session_id": "S1",
                "condition": "shod",
                "bout": 1,
                "set_speed_m_per_s": 3.0,
                "energy_cost_j_per_kg_m": 3.84,
            }
        ],
    }
    page = read(write(tmp_path, small.merged(small.example(), new)) / "answers.html")
    for caption, mean in (
        ("Ankle angle at contact (°)", "5.0"),
        ("Soleus: onset before contact (s)", "0.111"),
        ("Energy cost of running (J/(kg·m))", "3.84"),
    ):
        assert ["shod", "mill", mean, "–", "1"] in table(page, caption)


def test_a_site_is_told_how_far_its_outcomes_can_be_trusted_and_why_not_further(tmp_path: Path) -> None:
    def stated(outcome: str, value: float, **parts: float) -> dict[str, object]:
        own = {"trial_id": "m-1-shod", "outcome": outcome, "outcome_unit": "x", "footfall_count": 6}
        return (
            own | {"standard_uncertainty_value": value} | {f"from_{name}_value": part for name, part in parts.items()}
        )

    new: small.Rows = {
        "outcome_uncertainties": [
            stated("contact_time_s", 0.011, level=0.010, noise=0.0046),
            stated("ankle/sagittal/segment/angle_at_contact_deg", 0.62, markers=0.6, lag=0.15),
            stated("duty_factor_fraction", 0.01, level=0.01),
        ]
    }
    page = read(write(tmp_path, small.merged(small.example(), new)) / "sites" / "mill.html")
    rows = table(page, "Standard uncertainty of one footfall")
    assert ["Contact time (s)", "0.011", "0.011", "the zero of the plates", "1"] in rows
    assert ["Ankle angle at contact (°)", "0.62", "0.62", "marker positions", "1"] in rows
    assert len(rows) == 2  # the duty factor is not shown on pages


# curves


def test_a_curve_is_the_mean_over_runners_of_the_mean_of_both_sides(pages: Path) -> None:
    rows = {row[0]: row[1:] for row in table(read(pages / "curves.html"), "Vertical force (body weights)")}
    runners = [statistics.fmean([2.4, 2.6]), 2.7, 2.3]
    factor = math.sin(math.pi * 0.4)
    mean, sd = statistics.fmean(runners) * factor, statistics.stdev(runners) * factor
    assert rows["shod"][0] == "3"
    assert rows["shod"][3] == f"{mean:.2f} SD {sd:.2f}"
    assert rows["unshod"][:4] == ["1", "0.00", f"{2.2 * math.sin(math.pi * 0.2):.2f}", f"{2.2 * factor:.2f}"]


def test_a_curve_is_described_and_labelled_directly(pages: Path) -> None:
    page = read(pages / "curves.html")
    said = summary(page, "Vertical force, shod")
    assert said.startswith("Mean over 3 runners, highest at 50 % of contact with 2.50 body weights.")
    assert "between runners is at most 0.20 body weights" in said
    assert "No spread with a single runner." in summary(page, "Vertical force, unshod")
    labels = [t.words for t in page.all("text")]
    assert {"shod, 3 runners", "unshod, 1 runner", "the reference", "dashed: shod"} <= set(labels)


def test_without_a_curve_of_the_reference_no_panel_calls_itself_the_reference(tmp_path: Path) -> None:
    rows = small.example()
    rows["curves"] = small.curve("m-1-unshod", "vertical_force_bw", "{BW}", 2.2)
    processing = {"contrasts": {"reference_condition": "shod"}}
    page = read(write(tmp_path, rows, processing=processing) / "curves.html")
    labels = [t.words for t in page.all("text")]
    assert "the reference has no such curve" in labels
    assert not {"the reference", "dashed: shod"} & set(labels)


def test_a_runner_measured_at_two_sites_counts_once(tmp_path: Path) -> None:
    rows = small.merged(
        small.study_rows(),
        *(
            small.accepted(f"{site}-{n}", site, "P1", "shod", 0.25)
            for site, n in (("mill", 1), ("mill", 2), ("way", 1))
        ),
        small.accepted("mill-other", "mill", "P2", "shod", 0.25),
        {
            "curves": [
                row
                for trial, height in (("mill-1", 2.0), ("mill-2", 2.4), ("way-1", 3.0), ("mill-other", 2.0))
                for row in small.curve(trial, "vertical_force_bw", "{BW}", height)
            ]
        },
    )
    said = summary(read(write(tmp_path, rows) / "curves.html"), "Vertical force, shod")
    assert "2 runners" in said
    assert "with 2.30 body weights" in said  # mean of 2.0 and of P1: (2.2 at mill + 3.0 at way) / 2 = 2.6


# the safety lead's page


def test_the_caution_list_has_the_weightiest_kind_first_and_says_what_it_is_not(pages: Path) -> None:
    page = read(apart(pages))
    rows = table(page, "New: the weightiest kind first")
    assert [(row[0], row[2], row[3]) for row in rows] == [
        ("P1", "3", "■ substantial health problem"),
        ("P2", "3", "? problem not followed up"),
        ("P2", "2", "? problem not followed up"),
        ("P1", "3", "↑ minutes rose"),
        ("P2", "1", "▲ health problem"),
    ]
    assert rows[0][1] == "mill"
    assert rows[0][4] == "Substantial health problem, severity 59 of 100."
    assert "not medical advice and no diagnosis" in page.words
    assert "No published weekly dose limit" in page.words
    assert "own suggestions" in page.words
    assert "more than 30 % from one week to the next" in page.words
    assert "Only runners with at least one accepted trial" in page.words


def test_without_a_caution_the_usual_wording_still_stands(tmp_path: Path) -> None:
    rows = small.merged(small.example(), {}) | {"transition_weeks": [small.week("P1", 1, 200.0, 40.0, 0.0)]}
    words = read(apart(write(tmp_path, rows))).words
    assert "not medical advice and no diagnosis" in words
    assert "licensed professionals" in words
    assert "No week passes a limit" in words


def test_a_missing_week_is_shown_as_missing_and_never_as_zero(pages: Path) -> None:
    page = read(apart(pages))
    rows = {row[0]: row[1:] for row in table(page, "Minutes run in the week")}
    assert rows == {
        "P1": ["200 min 20 %", "200 min 26 %", "200 min 60 % ■ 59"],
        "P2": ["150 min 20 % ▲ 24", "no report", "150 min 40 % no score"],
        "P3": ["90 min 0 %", "no report", "no report"],
    }
    said = summary(page, "Weeks of P2")
    assert "Week 2: no report." in said
    assert "Week 3: 150 min, 40 % in the new footwear, no symptom score." in said
    (chart,) = [c for c in page.all("svg") if c.all("title") and c.all("title")[0].words == "Weeks of P2"]
    labels = [t.words for t in chart.all("text")]
    assert {"no report", "▲", "24", "?"} <= set(labels)


def test_of_a_long_change_over_the_last_weeks_are_drawn_and_all_are_in_the_table(tmp_path: Path) -> None:
    rows = small.example()
    rows["transition_weeks"] = [small.week("P1", n, 200.0, 10.0 * n, 24.0) for n in range(1, 21)]
    page = read(apart(write(tmp_path, rows)))
    assert "Only the last 12 weeks are drawn." in page.words
    assert summary(page, "Weeks of P1").startswith("Week 9: 200 min, 45 %")
    assert len(table(page, "Minutes run in the week")[0]) == 21


def test_only_the_safety_page_holds_what_runners_reported(pages: Path) -> None:
    reported = ("severity", "Substantial health problem", "120 min in the new footwear", "▲ 24")
    safety = apart(pages).read_text(encoding="utf-8")
    assert all(text in safety for text in reported)
    values = reported[1:]  # what a severity score is stands in the dictionary of columns, without any runner's
    for path in pages.rglob("*.html"):
        text = path.read_text(encoding="utf-8")
        told = values if path.name == "dictionary.html" else reported
        assert not [one for one in told if one in text], path


def test_the_overview_leads_to_the_other_pages_by_role_and_no_page_leads_to_that_of_the_safety_lead_or_from_it(
    pages: Path,
) -> None:
    (roles,) = [e for e in read(pages / "index.html").all("dl") if e.attributes.get("class") == "who"]
    led = {
        who.words: {a.attributes["href"] for a in to.all("a")}
        for who, to in zip(roles.all("dt"), roles.all("dd"), strict=True)
    }
    assert led["Statistician"] == {"answers.html", "curves.html", "dictionary.html"}
    assert "worklist.html" in led["Data manager"]
    for path in [*pages.rglob("*.html"), apart(pages)]:
        assert not [a for a in read(path).all("a") if "safety" in a.attributes["href"]]


def test_every_kind_of_caution_has_words() -> None:
    assert set(CAUTION_WORDS) == set(KINDS)
