"""Freezing the analysis plan: what the ledger keeps of it, and what is refused."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import duckdb
import pytest
import yaml

from pipelines.assets.deciding import freeze_plan
from pipelines.depot.ledger import Ledger
from pipelines.depot.plans import Frozen, frozen_plans
from pipelines.depot.storage import Depot
from pipelines.errors import Unusable
from pipelines.pool.effects import remarks
from pipelines.study.file import load_study
from schemas.plan import Plan, PlannedComparison
from tests.command_line import command
from tests.pipelines.study.test_study_file import DEMO


@pytest.fixture
def study(tmp_path: Path) -> Path:
    """The demonstration's study file, profiles and plan."""
    for name in ("study.yaml", "plan.yaml", "sites"):
        source = DEMO.parent / name
        (shutil.copytree if source.is_dir() else shutil.copy)(source, tmp_path / name)
    return tmp_path / "study.yaml"


def test_a_plan_is_frozen_before_the_first_delivery_and_not_twice_in_a_row(study: Path, tmp_path: Path) -> None:
    first = freeze_plan(study, tmp_path / "depot", "Before the first delivery", "Ann")
    assert (first.new, first.trials) == (True, 0)
    assert not freeze_plan(study, tmp_path / "depot", "Once more", "Ann").new
    with Depot(tmp_path / "depot").opened() as books:
        (frozen,) = frozen_plans(books)
        (line,) = (entry for entry in books.ledger.entries() if entry.what == "frozen")
    plan = load_study(study).plan
    assert plan is not None
    assert (frozen.sha256, frozen.version) == (plan.sha256, "1")
    assert frozen.settings == plan.settings
    assert (line.actor, line.why) == ("Ann", "Before the first delivery")


def test_without_a_reason_nothing_is_frozen_and_no_depot_is_begun(study: Path, tmp_path: Path) -> None:
    with pytest.raises(Unusable, match="No reason is given"):
        freeze_plan(study, tmp_path / "depot", "  ", "Ann")
    assert not (tmp_path / "depot").exists()


def test_a_plan_that_was_changed_can_be_frozen_again_and_both_are_told(study: Path, tmp_path: Path) -> None:
    depot = tmp_path / "depot"
    freeze_plan(study, depot, "Before the first delivery", "Ann")
    plan = study.parent / "plan.yaml"
    plan.write_text(plan.read_text().replace('version: "1"', 'version: "2"'))
    shown = command("plan", "show", "--study", study, "--depot", depot)
    assert shown.returncode == 1, "the plan in force is not the one that was frozen"
    assert freeze_plan(study, depot, "A second outcome", "Ann").new
    shown = command("plan", "show", "--study", study, "--depot", depot)
    assert shown.returncode == 0
    assert "(this one): version 2, 0 trials accepted by then." in shown.stdout


def test_a_version_stands_for_one_content(study: Path, tmp_path: Path) -> None:
    depot, plan = tmp_path / "depot", study.parent / "plan.yaml"
    freeze_plan(study, depot, "Before the first delivery", "Ann")
    plan.write_text(plan.read_text() + "\n# a remark changes nothing that is asked\n")
    assert freeze_plan(study, depot, "A remark", "Ann").new
    plan.write_text(plan.read_text().replace("smallest_effect: 0.005", "smallest_effect: 0.001"))
    with pytest.raises(Unusable, match=r"Version 1 was frozen .* with other content"):
        freeze_plan(study, depot, "A smaller effect", "Ann")
    with Depot(depot).opened() as books:
        assert len(frozen_plans(books)) == 2, "nothing was written"


def test_a_smallest_effect_in_another_unit_is_remarked_where_it_is_shown_and_where_it_is_frozen(
    study: Path, tmp_path: Path
) -> None:
    plan, place = study.parent / "plan.yaml", ("--study", study, "--depot", tmp_path / "depot")
    told = (
        "primary.1.smallest_effect: 5 s is more than contact_time_s can differ by, 0.1 to 0.45 s by the check "
        "contact_times_are_credible. Is it in that unit?"
    )
    assert told[:30] not in command("plan", "show", *place).stdout
    plan.write_text(plan.read_text().replace("smallest_effect: 0.005", "smallest_effect: 5", 1))
    assert told in command("plan", "show", *place).stdout.splitlines()
    assert json.loads(command("plan", "show", *place, "--json").stdout)["remarks"] == [told]
    assert told in command("plan", "freeze", "--why", "Early", "--as", "Ann Lee", *place).stdout.splitlines()


def test_an_outcome_is_held_against_its_definition_and_against_what_the_pool_holds(tmp_path: Path) -> None:
    asked = {"visit": "week_0", "condition": "thin_soled", "reference_condition": "cushioned"}
    wanted = (("duty_factor_fraction", 1.1), ("step_time_s", 0.2), ("step_length_m", 0.2), ("flight_time_s", 0.2))
    plan = Plan(version="1", primary=tuple(PlannedComparison(outcome=o, smallest_effect=e, **asked) for o, e in wanted))
    assert [line.split(":")[0] for line in remarks(plan, tmp_path / "none.duckdb")] == ["primary.1.smallest_effect"]
    with duckdb.connect(str(tmp_path / "pool.duckdb")) as connection:
        connection.execute(
            "CREATE TABLE runner_contrasts AS SELECT outcome, 'condition' AS contrast, 0.01 AS difference_value, "
            "0.3 + n / 100 AS condition_mean_value, 0.29 + n / 100 AS reference_mean_value "
            "FROM (VALUES ('step_time_s', 10), ('step_length_m', 30), ('flight_time_s', 9)) v(outcome, most), "
            "range(30) r(n) WHERE n < most"
        )
    told = remarks(plan, tmp_path / "pool.duckdb")
    assert [line.split(":")[0] for line in told] == ["primary.1.smallest_effect", "primary.2.smallest_effect"]
    assert "0.2 s is more than step_time_s can differ by, 0.29 to 0.39 s in this pool" in told[1]


def test_all_that_a_plan_asks_and_leaves_out_is_shown(study: Path, tmp_path: Path) -> None:
    plan = study.parent / "plan.yaml"
    first = "{outcome: contact_time_s, visit: week_0, condition: thin_soled, "
    text = plan.read_text().replace(first, first + "set_speed_m_per_s: 3.25, ", 1)
    checked = "exclude:\n  accepted_by_override: true\n  notes_of: [active_peaks_are_credible]\n"
    plan.write_text(text.replace("exclude:\n", checked))
    shown = command("plan", "show", "--study", study, "--depot", tmp_path / "depot").stdout
    for words in (
        "contact_time_s: thin_soled less cushioned at week_0, at 3.3 m/s, smallest effect 0.005 s\n",
        "  ankle_sagittal_angle_deg: thin_soled less cushioned at week_0\n",
        "  symptom_severity_score: on the hours until week_10\n",
        "  contact_time_s, thin_soled: on the hours until week_10\n",
        "leaving out trials accepted in spite of a finding; trials with a note of active_peaks_are_credible; "
        "trials more than 10 % off their set speed, or without a measured one\n",
    ):
        assert words in shown, shown


def test_a_plan_that_means_something_else_with_another_study_file_is_not_the_frozen_one_and_can_be_frozen_as_another_version(
    study: Path, tmp_path: Path
) -> None:
    depot = tmp_path / "depot"
    asked = {"outcome": "contact_time_s", "visit": "week_0", "condition": "thin_soled"}
    (study.parent / "plan.yaml").write_text(yaml.safe_dump({"version": "1", "primary": [asked]}))
    freeze_plan(study, depot, "Before the first delivery", "Ann")
    before = load_study(study).plan
    text = study.read_text()
    assert text.count("reference_condition: cushioned") == 2
    study.write_text(text.replace("reference_condition: cushioned", "reference_condition: unshod"))
    with Depot(depot).opened() as books:
        (frozen,) = frozen_plans(books)
    after = load_study(study).plan
    assert before is not None
    assert after is not None
    assert before.sha256 == after.sha256, "the file is the same"
    assert frozen.is_plan(before)
    assert not frozen.is_plan(after)
    shown = command("plan", "show", "--study", study, "--depot", depot)
    assert shown.returncode == 1
    assert "this file, but not this plan: another primary, study_file.processing.contrasts." in shown.stdout
    assert "not the one that was frozen last" in shown.stdout
    with pytest.raises(Unusable, match=r"Version 1 was frozen .* another primary, study_file.processing.contrasts"):
        freeze_plan(study, depot, "Another reference", "Ann")
    plan = study.parent / "plan.yaml"
    plan.write_text(plan.read_text().replace("version: '1'", "version: '2'"))
    assert freeze_plan(study, depot, "Another reference", "Ann").new
    assert command("plan", "show", "--study", study, "--depot", depot).returncode == 0


@pytest.mark.parametrize(
    ("was", "now", "place"),
    [
        ("planned_week: 10", "planned_week: 12", "study_file.visits.week_10"),
        ("new_footwear: [thin_soled]", "new_footwear: [unshod]", "study_file.processing.transition.new_footwear"),
        ("  contrasts:\n", "  contrasts:\n    fewest_runners: 7\n", "study_file.processing.contrasts.fewest_runners"),
        (
            "  contrasts:\n",
            "  contrasts:\n    trial_weights: uncertainty\n",
            "study_file.processing.contrasts.trial_weights",
        ),
        ("No shoes.", "Bare feet.", "study_file.conditions.unshod"),
        (
            "\nsites:\n",
            "\nlimits: {contact_times_are_credible: {shortest_s: 0.23}}\nsites:\n",
            "study_file.limits.contact_times_are_credible",
        ),
        (
            "profile: sites/brack.yaml}",
            "profile: sites/brack.yaml, events: {contact_threshold_n: 40, reason: plates shake, since: 2026-03-02}}",
            "study_file.sites.brack.events.contact_threshold_n",
        ),
        (
            "profile: sites/tarn.yaml}",
            "profile: sites/tarn.yaml, limits: {contact_times_are_credible: "
            "{shortest_s: {value: 0.2, reason: small feet, since: 2026-03-02}}}}",
            "study_file.sites.tarn.limits.contact_times_are_credible",
        ),
    ],
)
def test_whatever_else_the_plan_rests_on_in_the_study_file_is_frozen_with_it(
    study: Path, was: str, now: str, place: str
) -> None:
    before = load_study(study).plan
    assert before is not None
    frozen = Frozen(before.sha256, "1", "2026-03-01T09:30:00.000+00:00", 0, json.loads(json.dumps(before.settings)))
    assert frozen.is_plan(before)
    text = study.read_text()
    assert was in text
    study.write_text(text.replace(was, now))
    after = load_study(study).plan
    assert after is not None
    assert frozen.changed(after) == [place]
    older = replace(frozen, settings={k: v for k, v in frozen.settings.items() if k != "study_file"})
    assert older.is_plan(after), "an older manystrides did not write down what a plan rests on"


def test_another_profile_of_a_site_makes_another_plan_of_it(study: Path) -> None:
    before = load_study(study).plan
    assert before is not None
    profile = study.parent / "sites" / "tarn.yaml"
    text = profile.read_text()
    assert "marker_rate_hz: 200" in text
    profile.write_text(text.replace("marker_rate_hz: 200", "marker_rate_hz: 250"))
    after = load_study(study).plan
    assert after is not None
    frozen = Frozen(before.sha256, "1", "2026-03-01T09:30:00.000+00:00", 0, before.settings)
    assert frozen.changed(after) == ["study_file.sites.tarn.profile"]


def test_a_plan_that_was_frozen_before_sites_and_limits_were_written_down_is_held_against_what_was() -> None:
    now = load_study(DEMO).plan
    assert now is not None
    rests_on = {name: now.rests_on[name] for name in ("processing", "visits")}
    frozen = Frozen(now.sha256, "1", "2026-03-01T09:30:00.000+00:00", 0, now.settings | {"study_file": rests_on})
    assert frozen.is_plan(now)


def test_a_plan_that_asks_one_thing_twice_is_not_frozen_and_one_that_was_once_lets_work_go_on(
    study: Path, tmp_path: Path
) -> None:
    """Frozen by an older manystrides: here by its line in the ledger, made of the plan as it was read then."""
    depot = tmp_path / "depot"
    plan = study.parent / "plan.yaml"
    settings = yaml.safe_load(plan.read_text())
    settings["secondary"] = [dict(settings["primary"][0])]
    plan.write_text(yaml.safe_dump(settings))
    with pytest.raises(Unusable, match=r"asks the same as primary\.1"):
        freeze_plan(study, depot, "Before the first delivery", "Ann")
    assert command("plan", "show", "--study", study, "--depot", depot).returncode > 1
    loaded = load_study(study).plan
    assert loaded is not None
    place = Depot(depot)
    with place.writing("Ann"), place.opened() as books:
        details = {"plan_sha256": loaded.sha256, "plan_version": "1", "accepted_trials": 0, "settings": loaded.settings}
        Ledger(books, "Ann").decided("frozen", "analysis plan", "By an older one", **details)
    assert not freeze_plan(study, depot, "Once more", "Ann").new
    assert command("plan", "show", "--study", study, "--depot", depot).returncode == 0


def test_nothing_is_frozen_without_a_plan_or_a_reason(study: Path, tmp_path: Path) -> None:
    with pytest.raises(Unusable, match="No reason"):
        freeze_plan(study, tmp_path / "depot", "  ", "Ann")
    (study.parent / "plan.yaml").unlink()
    with pytest.raises(Unusable, match="There is no analysis plan"):
        freeze_plan(study, tmp_path / "depot", "Now", "Ann")
    assert command("plan", "show", "--study", study, "--depot", tmp_path / "depot").returncode == 1
