"""The demo deliveries, taken in by the real command, end to end."""

from __future__ import annotations

import csv
import json
import re
import subprocess
from pathlib import Path

import duckdb
import pytest

from checks.registry import Subject, catalogue
from pipelines.deciding.texts import texts_of
from pipelines.depot.overrides import why_not
from pipelines.depot.published import read_result
from pipelines.depot.search_bytes import files_with
from pipelines.depot.storage import Depot
from pipelines.lab.check_text import by_trial
from pipelines.taking_in.summary import Done, Summary
from schemas.catalogue import TABLES
from schemas.model import Kind, Layer
from schemas.quality import FINDINGS
from schemas.received import plain_rows

REPO = Path(__file__).resolve().parents[2]
EXPECTED = REPO / "demo_site_uploads" / "expected_findings.csv"


def _ask(depot: Path, sql: str) -> list[tuple]:
    with duckdb.connect(str(depot / "warehouse.duckdb"), read_only=True) as connection:
        return connection.execute(sql).fetchall()


def _expected() -> set[tuple[str, str, str, str]]:
    """The planted faults; withheld trials go by another name in the depot, their place among the withheld ones."""
    with EXPECTED.open(newline="", encoding="utf-8") as lines:
        rows = list(csv.DictReader(lines))
    withheld = sorted((r["delivery"], r["trial_id"]) for r in rows if r["weight"] == "withholds")
    for row in rows:
        if row["weight"] == "withholds":
            own = [trial for delivery, trial in withheld if delivery == row["delivery"]]
            row["trial_id"] = f"{row['delivery']}.withheld-{own.index(row['trial_id']) + 1}"
    return {(r["delivery"], r["trial_id"], r["check_name"], r["weight"]) for r in rows}


def test_the_findings_are_exactly_the_planted_ones(demo_depot: Path) -> None:
    seen = {
        (delivery, trial or "", check, weight)
        for delivery, trial, check, weight in _ask(
            demo_depot, "SELECT delivery_id, trial_id, check_name, weight FROM findings"
        )
    }
    expected = _expected()
    assert seen - expected == set(), "found but not planted"
    assert expected - seen == set(), "planted but not found"


def test_a_run_tells_of_each_delivery_how_many_notes_there_are(
    demo_run: tuple[Path, subprocess.CompletedProcess[str]],
) -> None:
    depot, done = demo_run
    told = {
        name: int(count) for name, count in re.findall(r"^  (\S+-\d+): .* withheld; (\d+) notes?", done.stdout, re.M)
    }
    counted = "SELECT delivery_id, count(*) FROM findings WHERE weight = 'notes' AND consequence_of IS NULL GROUP BY 1"
    noted = dict(_ask(depot, counted))
    assert told
    assert told == {name: noted[name] for name in told}


def test_what_was_said_to_follow_when_it_was_planted_is_marked_as_a_consequence(demo_depot: Path) -> None:
    with EXPECTED.open(newline="", encoding="utf-8") as lines:
        rows = [r for r in csv.DictReader(lines) if re.match("Follows from|A consequence of", r["planted"])]
    marked = set(_ask(demo_depot, "SELECT trial_id, check_name FROM findings WHERE consequence_of IS NOT NULL"))
    assert len(rows) > 8
    assert {(row["trial_id"], row["check_name"]) for row in rows} <= marked


def test_the_weeks_to_look_at_are_on_the_safety_lead_s_page_and_in_no_table(demo_depot: Path) -> None:
    page = (demo_depot / "safety" / "index.html").read_text(encoding="utf-8")
    assert "Substantial health problem, severity" in page
    of_texts = "FROM duckdb_columns() WHERE NOT internal AND data_type = 'VARCHAR'"
    columns = _ask(demo_depot, f"SELECT schema_name, table_name, column_name {of_texts}")
    assert ("main", "transition_weeks", "reason_null") in columns
    assert not [table for _, table, _ in columns if "caution" in table]
    told = """SELECT '{1}' FROM "{0}"."{1}" WHERE "{2}" LIKE '%health problem, severity%'"""
    assert _ask(demo_depot, " UNION ALL ".join(told.format(*column) for column in columns)) == []


def test_the_check_at_a_site_tells_every_cause_by_its_trial_since_no_page_of_it_stays(demo_depot: Path) -> None:
    depot, told = Depot(demo_depot), 0
    with depot.opened() as books:
        for record in (r for r in books.deliveries.all() if r.status == "taken_in"):
            findings = plain_rows(read_result(depot, record.delivery_id, FINDINGS))
            lines = list(by_trial(findings))
            for one in (f for f in findings if f["weight"] == "returns" and f["consequence_of"] is None):
                assert f"      seen      {one['seen']}" in lines
                assert any(line.startswith(f"    {one['check_name']}") for line in lines)
                told += 1
            assert "goes back" not in Summary(depot, [Done(record, "new")], reasons=False).text()
    assert told > 40


def test_the_sheet_of_displaced_samples_advises_nobody_to_exchange_labels(demo_depot: Path) -> None:
    """What knee and ankle labels the wrong way round would ask for spoils labels that are right."""
    trial = "FS-14-w10-tarn-cushioned-1"
    told = dict(
        _ask(demo_depot, f"SELECT check_name, min(remedy) FROM findings WHERE trial_id = '{trial}' GROUP BY ALL")
    )
    sheet = (demo_depot / "pages" / "fix" / f"{trial}.html").read_text(encoding="utf-8")
    assert len(told) == 5
    for check, remedy in told.items():
        assert (remedy.split(". ")[0] in sheet) == (check == "samples_stand_in_their_places"), check
    assert "What follows from it" in sheet


def test_every_check_has_a_planted_fault() -> None:
    """Whole sites need more runners than fit into recordings: their faults are in a pool, see tests/demo."""
    of_deliveries = {name for name, spec in catalogue().items() if spec.about is not Subject.SITE}
    assert {check for _, _, check, _ in _expected()} - set(catalogue()) == set()
    assert of_deliveries - {check for _, _, check, _ in _expected()} == set()


def test_whole_sites_of_the_demo_are_judged_and_none_stands_out(demo_depot: Path) -> None:
    ended = dict(
        _ask(demo_depot, "SELECT status, count(*) FROM check_runs WHERE delivery_id = 'site.' || subject GROUP BY 1")
    )
    assert set(ended) == {"pass", "skipped"}
    assert (demo_depot / "pages" / "expectations.html").is_file()
    assert _ask(demo_depot, "SELECT DISTINCT site FROM site_expectations ORDER BY site") == [
        ("brack",),
        ("corrie",),
        ("tarn",),
    ]


def test_no_check_crashed(demo_depot: Path) -> None:
    assert _ask(demo_depot, "SELECT check_name, subject, reason FROM check_runs WHERE status = 'crashed'") == []


def test_every_standing_occurs_and_only_accepted_trials_have_outcomes(demo_depot: Path) -> None:
    standings = {s for (s,) in _ask(demo_depot, "SELECT DISTINCT standing FROM standings")}
    assert standings == {"accepted", "returned", "withheld"}
    strangers = _ask(
        demo_depot,
        "SELECT DISTINCT trial_id FROM footfalls WHERE (delivery_id, trial_id) NOT IN "
        "(SELECT (delivery_id, trial_id) FROM standings WHERE standing = 'accepted' AND NOT superseded)",
    )
    assert strangers == []


def test_a_resent_trial_takes_the_place_of_the_returned_one(demo_depot: Path) -> None:
    twice = _ask(
        demo_depot,
        "SELECT trial_id FROM standings GROUP BY trial_id HAVING count(*) > 1 AND bool_or(standing = 'returned' AND superseded)",
    )
    assert twice
    for (trial,) in twice:
        history = _ask(
            demo_depot,
            f"SELECT standing, superseded FROM standings WHERE trial_id = '{trial}' ORDER BY delivery_id",
        )
        assert history[0] == ("returned", True)
        assert history[-1] == ("accepted", False)
        footfalls = _ask(demo_depot, f"SELECT count(*) FROM footfalls WHERE trial_id = '{trial}'")[0][0]
        assert (footfalls > 0) == (not trial.endswith("standing"))


def test_an_accepted_trial_is_changed_only_with_a_reason(demo_depot: Path) -> None:
    own = "FROM standings WHERE trial_id = 'FS-17-w10-corrie-{}-standing' ORDER BY delivery_id"
    without = _ask(demo_depot, f"SELECT delivery_id, standing, superseded {own.format('cushioned')}")
    assert without == [("corrie-014", "accepted", False), ("corrie-015", "returned", False)]
    told = _ask(demo_depot, f"SELECT standing, superseded, resend_reason <> '' {own.format('thin_soled')}")
    assert told == [("accepted", True, None), ("accepted", False, True)]


def test_a_metabolic_bout_that_goes_back_has_no_values_and_the_others_have(demo_depot: Path) -> None:
    returned = {
        (place,)
        for (place,) in _ask(demo_depot, "SELECT place FROM findings WHERE file = 'breaths.csv' AND weight = 'returns'")
    }
    assert returned
    bouts = _ask(
        demo_depot,
        "SELECT 'session_id ' || session_id || ', condition ' || condition || ', bout ' || bout, "
        "oxygen_uptake_ml_per_min, respiratory_exchange_ratio, reason_null FROM energy_bouts",
    )
    back = [row for row in bouts if row[:1] in returned]
    assert back
    assert all(row[1:3] == (None, None) and "goes back" in row[3] for row in back)
    assert any(row[1] is not None for row in bouts)


def test_every_table_and_column_of_the_warehouse_carries_its_words(demo_depot: Path, subtests: pytest.Subtests) -> None:
    for table in (name for name in TABLES if not name.startswith("sent_")):
        with subtests.test(table=table):
            comments = dict(
                _ask(demo_depot, f"SELECT column_name, comment FROM duckdb_columns() WHERE table_name = '{table}'")
            )
            assert list(comments) == list(TABLES[table].column_names)
            for field in TABLES[table].fields:
                assert comments[field.name].startswith(field.description)


def test_the_six_who_travelled_tell_how_alike_the_laboratories_measure(demo_depot: Path) -> None:
    travelled = "SELECT participant_id FROM trials WHERE visit = 'week_0' AND kind = 'running' GROUP BY 1 HAVING count(DISTINCT site) > 1"
    assert len(_ask(demo_depot, travelled)) == 6
    ((ratio, lower, upper, error, runners),) = _ask(
        demo_depot,
        "SELECT icc_2_1_ratio, icc_2_1_lower_ratio, icc_2_1_upper_ratio, measurement_error_value, runner_count "
        "FROM reliability WHERE outcome = 'contact_time_s' AND condition = 'cushioned' AND sites = 'brack, corrie'",
    )
    # simulated runners' contact times are 0.244 to 0.258 s, the same at every laboratory
    assert runners == 4
    assert 0.9 < ratio < 1
    assert lower < ratio < upper
    assert 0 < error < 0.002
    pairs = _ask(
        demo_depot,
        "SELECT site, other_site, event_method, other_event_method, runner_count, bias_lower_value < bias_upper_value "
        "FROM site_agreement WHERE outcome = 'contact_time_s' AND condition = 'cushioned' AND visit = 'week_0'",
    )
    assert {(site, other): rest for site, other, *rest in pairs} == {
        ("brack", "corrie"): ["force", "force", 4, True],
        ("brack", "tarn"): ["force", "sensor", 1, None],
        ("corrie", "tarn"): ["force", "sensor", 3, True],
    }


def test_no_number_of_an_outcome_table_is_null_without_a_reason(demo_depot: Path, subtests: pytest.Subtests) -> None:
    told = {
        (table, column): (rows, unexplained)
        for table, column, rows, unexplained in _ask(
            demo_depot,
            "SELECT table_name, column_name, count(*), count(*) FILTER (reason IS NULL OR reason = 'unexplained') "
            "FROM outcome_nulls GROUP BY ALL",
        )
    }
    outcomes = [t for t in TABLES.values() if t.layer is Layer.OUTCOME]
    assert {"equipment_readings", "outcome_uncertainties", "planned_contrasts"} < {t.name for t in outcomes}
    for table in (*outcomes, TABLES["muscle_references"], TABLES["site_control_points"]):
        maybe = [f.name for f in table.fields if f.nullable and f.kind is not Kind.TEXT and f.name != "reason_null"]
        for name in maybe:
            with subtests.test(table=table.name, column=name):
                ((nulls,),) = _ask(demo_depot, f"SELECT count(*) FROM {table.name} WHERE {name} IS NULL")
                assert told.get((table.name, name), (0, 0)) == (nulls, 0)


def test_a_reason_that_stands_in_the_row_is_told_only_of_rows_with_one(demo_depot: Path) -> None:
    for table in ("pooled_contrasts", "planned_contrasts", "site_agreement"):
        ((rows,),) = _ask(demo_depot, f"SELECT count(*) FROM {table} WHERE reason_null IS NOT NULL")
        by_row = "SELECT count(DISTINCT row_words) FROM outcome_nulls WHERE reason = 'in_row' AND table_name = "
        assert _ask(demo_depot, f"{by_row}'{table}'") == [(rows,)]


def test_why_runners_lack_a_value_in_a_comparison_is_counted_as_the_comparison_counts_them(demo_depot: Path) -> None:
    asked = "outcome = 'impact_peak_bw' AND contrast = 'condition' AND visit = 'week_0' AND condition = 'unshod'"
    ((lacking,),) = _ask(
        demo_depot, f"SELECT lacking_value_count FROM pooled_contrasts WHERE {asked} AND event_method = 'force'"
    )
    reasons = _ask(
        demo_depot,
        f"SELECT lacks, reason, sum(runner_count) FROM lacking_in_contrasts WHERE {asked} AND reference_condition = 'cushioned' "
        "GROUP BY ALL",
    )
    assert lacking > 0
    assert reasons == [("no_value", "no_impact_peak", lacking)]


def test_unshod_running_differs_from_cushioned_as_the_trade_expects(demo_depot: Path) -> None:
    rows = _ask(
        demo_depot,
        "SELECT condition, avg(foot_strike_angle_deg), avg(stride_length_m), avg(coalesce(impact_peak_bw, 0)) "
        "FROM footfalls JOIN trials USING (trial_id) GROUP BY condition",
    )
    by_condition = {condition: rest for condition, *rest in rows}
    shod, unshod = by_condition["cushioned"], by_condition["unshod"]
    assert shod[0] > unshod[0]
    assert shod[1] > unshod[1]
    assert shod[2] > unshod[2]


def test_the_summary_says_what_came_what_goes_back_and_where_to_look(
    demo_run: tuple[Path, subprocess.CompletedProcess[str]],
) -> None:
    depot, done = demo_run
    assert "accepted" in done.stdout
    assert "returned" in done.stdout
    assert "index.html" in done.stdout
    assert (depot / "pages" / "index.html").is_file()
    for site in ("brack", "corrie"):
        assert (depot / "pages" / "sites" / f"{site}.html").is_file()


def test_every_returned_trial_has_a_fix_sheet(demo_depot: Path) -> None:
    returned = _ask(demo_depot, "SELECT trial_id FROM standings WHERE standing = 'returned' AND NOT superseded")
    assert returned
    missing = [t for (t,) in returned if not (demo_depot / "pages" / "fix" / f"{t}.html").is_file()]
    assert missing == []


def test_the_log_tells_what_was_done_and_names_no_runner_and_no_trial(demo_depot: Path) -> None:
    """Runners of the demonstration are called FS-01 and so on, and trials after them; Nora is in a planted comment."""
    text = (demo_depot / "log" / "manystrides.jsonl").read_text(encoding="utf-8")
    told = [json.loads(line) for line in text.splitlines()]
    assert {"A command began.", "The warehouse is up to date.", "The pages are up to date."} <= {
        t["what"] for t in told
    }
    assert not re.search(r"FS.?\d|Nora|Fellsider", text, re.IGNORECASE)


def test_only_a_remark_waits_for_a_look_and_no_label_of_a_channel_does(demo_depot: Path) -> None:
    assert [held.text for held in texts_of(str(demo_depot))] == [
        "Markers exported again after the origin of the cameras had been set anew."
    ]


def test_a_withheld_trial_leaves_no_trace_of_its_runner(demo_depot: Path) -> None:
    """Byte by byte and value by value; FS-07 is the runner the demonstration withholds, and is nowhere else in it."""
    withheld = _ask(demo_depot, "SELECT participant_id, visit, condition FROM standings WHERE standing = 'withheld'")
    assert withheld
    assert set(withheld) == {(None, None, None)}
    place = Depot(demo_depot)
    own = [p for p in (place.root / "closed").rglob("*") if p.is_file() and b"FS-07" in p.read_bytes()]
    assert own, "the runner's bytes are kept apart"
    searched, found = files_with(place, ["FS-07"])
    assert searched > 100
    assert [p for p in found if "bag" not in p.parts] == []


def test_the_worklist_offers_no_command_that_would_be_refused(demo_depot: Path) -> None:
    with (demo_depot / "pages" / "worklist.csv").open(newline="", encoding="utf-8-sig") as lines:
        rows = list(csv.DictReader(lines))
    offered = {name for row in rows for name in re.findall(r"--check (\w+)", row["command"])}
    assert len(offered) > 10
    assert [name for name in sorted(offered) if why_not(catalogue()[name]) is not None] == []
    without = {row["check_name"] for row in rows if row["task"] == "send" and row["trial_id"] and not row["command"]}
    assert "trial_file_can_be_read" in without


def test_who_lacks_a_value_in_a_planned_answer_adds_up_with_who_is_in_it_and_with_what_was_recorded(
    demo_depot: Path,
) -> None:
    same = "outcome, contrast, visit, condition, reference_condition, at_speed"
    rows = _ask(
        demo_depot,
        f"SELECT {same}, lacking_value_count + lacking_reference_count + lacking_both_count, p.runner_count "
        f"FROM planned_contrasts c JOIN planned_participants p USING ({same}) "
        "WHERE c.variant = 'main' AND p.participation = 'lacking_value'",
    )
    assert len(rows) >= 2
    assert all(at_sites >= runners > 0 for *_, at_sites, runners in rows)
    ((recorded, silent),) = _ask(
        demo_depot,
        "SELECT count(*), count(*) FILTER (asked = 0 AND reference = 0) FROM (SELECT participant_id, site, "
        "count(metabolic_power_w_per_kg) FILTER (condition = 'thin_soled') AS asked, "
        "count(metabolic_power_w_per_kg) FILTER (condition = 'cushioned') AS reference FROM energy_bouts "
        "JOIN sessions USING (session_id) WHERE visit = 'week_0' AND energy_bouts.set_speed_m_per_s IS NOT NULL GROUP BY ALL "
        "HAVING count(*) FILTER (condition = 'thin_soled') > 0 AND count(*) FILTER (condition = 'cushioned') > 0)",
    )
    told = _ask(
        demo_depot,
        "SELECT measured_count, lacking_both_count FROM planned_contrasts WHERE variant = 'main' "
        "AND outcome = 'metabolic_power_w_per_kg'",
    )
    assert told == [(recorded, silent)]
    assert silent > 0
