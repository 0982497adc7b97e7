"""A small warehouse of literal rows, made from the table definitions: two sites, every standing, every status."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb

from pipelines.depot.store import Store
from pipelines.pool.build import make_views
from schemas.catalogue import TABLES
from schemas.convert.to_duckdb import create_table_sql
from schemas.model import Kind, Layer
from schemas.study import Study
from tests.builders import a_study

STAMP = {"code_version": "0.1.0", "study_version": "1+0123abcd"}
HOSTILE = "<script>alert('a')</script><img src=x onerror=alert(2)>&\"'"
MEDIAN = "expect_column_median_to_be_between"
Rows = dict[str, list[dict[str, Any]]]


@dataclass(frozen=True)
class Loaded:
    """What pages need of a loaded study file."""

    study: Study
    version: str = "1+0123abcd"
    path: Path = Path("study.yaml")


@dataclass(frozen=True)
class Places:
    folder: Path
    warehouse: Path

    @property
    def root(self) -> Path:
        return self.folder.parent

    @property
    def pages(self) -> Store:
        return Store.on_disk(self.folder)

    @property
    def safety(self) -> Store:
        return Store.on_disk(self.folder.with_name("safety"))


def loaded_study(**changes: Any) -> Loaded:
    return Loaded(a_study(**changes))


def build(path: Path, rows: Rows) -> Path:
    """A warehouse with every table of the catalogue; columns left out are null, or a plain value where null is not allowed."""
    connection = duckdb.connect(str(path))
    for table in TABLES.values():
        if table.layer is Layer.DELIVERY:
            continue
        connection.execute(create_table_sql(table))
        for row in rows.get(table.name, []):
            assert set(row) <= set(table.column_names), (table.name, set(row) - set(table.column_names))
            values = [row[f.name] if f.name in row else None if f.nullable else _plain(f.kind) for f in table.fields]
            connection.execute(f"INSERT INTO {table.name} VALUES ({', '.join('?' * len(values))})", values)
    make_views(connection)
    connection.close()
    return path


def _plain(kind: Kind) -> object:
    return {Kind.INTEGER: 1, Kind.REAL: 1.0, Kind.BOOLEAN: False}.get(kind, "x")


def study_rows() -> Rows:
    return {
        "sites": [
            {"site": "mill", "description": "A belt with one plate.", "surface": "treadmill", "marker_rate_hz": 200.0},
            {"site": "way", "description": "A runway of two plates.", "surface": "runway", "marker_rate_hz": 200.0},
        ],
        "conditions": [
            {"condition": "unshod", "description": "No shoes."},
            {"condition": "shod", "description": "Shoes."},
        ],
        "visits": [{"visit": "first", "planned_week": 0}, {"visit": "last", "planned_week": 10}],
    }


def delivery(delivery_id: str, site: str | None, number: int | None, status: str = "taken_in", **more: Any) -> dict:
    return {
        "delivery_id": delivery_id,
        "site": site,
        "delivery_number": number,
        "status": status,
        "arrived_as": f"{delivery_id}.zip",
        "fingerprint_sha256": hashlib.sha256(delivery_id.encode()).hexdigest(),
        "received_utc": f"2026-03-{10 + (number or 0):02d}T09:30:00Z",
        "payload_count": 21,
        "payload_bytes": 1_234_567,
        **STAMP,
        **more,
    }


def standing(
    delivery_id: str, trial_id: str, word: str, *, runner: str | None = "P1", kind: str | None = "running", **more: Any
) -> dict:
    return {
        "delivery_id": delivery_id,
        "trial_id": trial_id,
        "site": delivery_id.split("-")[0],
        "participant_id": runner,
        "visit": "first",
        "condition": "shod",
        "kind": kind,
        "standing": word,
        "finding_count": 0,
        "superseded": False,
        **STAMP,
        **more,
    }


def finding(
    finding_id: str, delivery_id: str, trial_id: str | None, check_name: str, weight: str = "returns", **more: Any
) -> dict:
    return {
        "finding_id": finding_id,
        "delivery_id": delivery_id,
        "site": delivery_id.split("-")[0],
        "trial_id": trial_id,
        "check_name": check_name,
        "weight": weight,
        "file": f"trials/{trial_id}.c3d" if trial_id else "trials.csv",
        "place": None,
        "seen": f"Seen {finding_id}.",
        "expected": f"Expected {finding_id}.",
        "remedy": f"Remedy {finding_id}.",
        **STAMP,
        **more,
    }


def run(delivery_id: str, check_name: str, subject: str, status: str, reason: str | None = None) -> dict:
    return {
        "delivery_id": delivery_id,
        "check_name": check_name,
        "subject": subject,
        "status": status,
        "reason": reason,
        "rows_examined": 5,
        "finding_count": 0,
        **STAMP,
    }


def picture(finding_id: str, delivery_id: str, trial_id: str, title: str, unit: str) -> list[dict]:
    """A line over time and the highest that is expected of it."""
    drawn = {
        ("line", ""): [
            (i / 200, None if 120 < i < 150 else 1600 * max(0.0, math.sin(i / 12)) + 180) for i in range(240)
        ],
        ("expected", ""): [(None, None), (None, 1500.0)],
        ("contact", "left"): [(0.1, None), (0.3, None)],
    }
    keys = {"finding_id": finding_id, "delivery_id": delivery_id, "trial_id": trial_id, "panel_number": 1}
    keys |= {"panel_kind": "over_time", "panel_title": title, "across_words": "", "upwards_unit": unit}
    return [
        {
            **keys,
            "part_number": number,
            "part_role": role,
            "part_name": name,
            "point_number": i,
            "across_value": x,
            "upwards_value": y,
        }
        for number, ((role, name), points) in enumerate(drawn.items(), start=1)
        for i, (x, y) in enumerate(points, start=1)
    ]


def accepted(trial_id: str, site: str, runner: str, condition: str, contact_s: float) -> Rows:
    """One accepted running trial with two footfalls."""
    keys = {"trial_id": trial_id, "delivery_id": f"{site}-001"}
    return {
        "trials": [
            {
                **keys,
                "site": site,
                "participant_id": runner,
                "visit": "first",
                "condition": condition,
                "kind": "running",
                "set_speed_m_per_s": 3.0,
            }
        ],
        "footfalls": [
            {
                **keys,
                "footfall_number": n,
                "side": "left",
                "contact_time_s": contact_s + 0.002 * n,
                "stride_length_m": 9 * contact_s,
                "impact_peak_bw": 1.7 if condition == "shod" else None,
                "foot_strike_angle_deg": 60 * (contact_s - 0.22),
            }
            for n in (1, 2)
        ],
        "standings": [standing(f"{site}-001", trial_id, "accepted", runner=runner, condition=condition)],
    }


def contrast(outcome: str, *sites: tuple[str, float], visit: str = "first", pooled: bool = True) -> Rows:
    """One outcome, unshod less shod: an interval at each site of 0.2 to either side, and the pooled estimates.

    pooled: whether there are random effects.
    """
    pair = {"condition": "unshod", "reference_condition": "shod", "contrast": "condition", "reference_visit": visit}
    compared = {"outcome": outcome, "visit": visit, "at_speed": "3.0 m/s", "event_method": "force", **pair, **STAMP}
    mean = sum(value for _, value in sites) / len(sites)
    values = {"estimate_value": mean, "lower_limit_value": mean - 0.3, "upper_limit_value": mean + 0.3}
    meta = {"between_site_sd_value": 0.12, "heterogeneity_percent": 61.0, "runner_count": 6, "site_count": len(sites)}
    return {
        "runner_contrasts": [
            {
                **{name: word for name, word in compared.items() if name != "at_speed"},
                **{"participant_id": f"{site}-{n}", "site": site, "set_speed_m_per_s": 3.0, "difference_value": value},
            }
            for site, value in sites
            for n in (1, 2, 3)
        ],
        "site_contrasts": [
            {
                **compared,
                "site": site,
                "estimate_value": value,
                "lower_limit_value": value - 0.2,
                "upper_limit_value": value + 0.2,
                "runner_count": 3,
            }
            for site, value in sites
        ],
        "pooled_contrasts": [
            {
                **compared,
                "pooling_method": "one_stage_mixed_model",
                "runner_count": 6,
                "site_count": len(sites),
                **values,
            },
            *(
                {**compared, "pooling_method": method, **meta, **values}
                for method in ("random_effects_dersimonian_laird", "random_effects_restricted_likelihood")
                if pooled
            ),
        ],
    }


def week(
    runner: str, number: int, minutes: float | None, new: float | None, severity: float | None, **more: Any
) -> dict:
    return {
        "participant_id": runner,
        "week": number,
        "running_min": minutes,
        "new_footwear_min": new,
        "new_footwear_fraction": new / minutes if minutes and new is not None else None,
        "symptom_severity_score": severity,
        "substantial_problem": None if severity is None else False,
        "reason_null": None if None not in (minutes, severity) else "not reported",
        **STAMP,
        **more,
    }


def change_over() -> Rows:
    """P1 reports every week, with a problem in the last; P2 misses the second; P3 stops after the first."""
    return {
        "transition_weeks": [
            week("P1", 1, 200.0, 40.0, 0.0),
            week("P1", 2, 200.0, 52.0, 0.0),
            week("P1", 3, 200.0, 120.0, 59.0, substantial_problem=True, new_footwear_rise_fraction=68 / 52),
            week("P2", 1, 150.0, 30.0, 24.0),
            week("P2", 2, None, None, None),
            week("P2", 3, 150.0, 60.0, None),
            week("P3", 1, 90.0, 0.0, 0.0),
        ],
    }


def curve(trial_id: str, quantity: str, unit: str, height: float, side: str = "left") -> list[dict]:
    """A half-sine of that height over the contact."""
    keys = {"trial_id": trial_id, "side": side, "quantity": quantity, "curve_span": "contact", "quantity_unit": unit}
    return [
        {**keys, "point_number": i, "mean_value": height * math.sin(math.pi * i / 100), "footfall_count": 9}
        for i in range(101)
    ]


def merged(*parts: Rows) -> Rows:
    rows: Rows = {}
    for part in parts:
        for name, own in part.items():
            rows[name] = rows.get(name, []) + own
    return rows


def whole_site(site: str, *, text: str | None = None) -> Rows:
    """What checks of whole sites saw: a note with its expectations, a check that could not judge, two control charts.

    The force scale has ten first sessions about 1 and then three, two of them 4 % above; the clock has three in all.
    text: stands for every word that comes from a laboratory or the study file.
    """
    keys = {"site": site, "check_name": "outcomes_centre_among_the_other_sites", "expectation_kind": MEDIAN}
    window = {"lower_value": 2.0, "upper_value": 16.0, "unit_code": text or "deg", "engine_version": text or "1.24"}
    seen = [(9.5, True), (21.25, False)]
    force = [1.0, 1.004, 0.996, 1.002, 1.0, 0.998, 1.003, 0.999, 1.001, 0.997, 1.001, 1.04, 1.041]
    limits = {"centre_value": 1.0, "lower_limit_value": 0.99, "upper_limit_value": 1.01}
    charts = [
        *(("force_scale_ratio", n, value, limits) for n, value in enumerate(force, 1)),
        *(("second_clock_drift_ppm", n, 20.0 * n, {}) for n in (1, 2, 3)),
    ]
    about = {"site": site, "file": None, "place": text or "foot_strike_angle_deg, first, shod"}
    said = dict.fromkeys(("seen", "expected", "remedy"), text) if text else {}
    return {
        "findings": [finding(f"s-{site}", f"site.{site}", None, keys["check_name"], "notes", **about, **said)],
        "check_runs": [
            run(f"site.{site}", keys["check_name"], site, "found"),
            run(f"site.{site}", "last_digits_show_no_preference", site, "skipped", text or "fewer than 6 values"),
        ],
        "site_expectations": [
            {
                **keys,
                **window,
                "expectation_number": n,
                "measured": text or "foot_strike_angle_deg",
                "visit": text or "first",
                "condition": text or "shod",
                "observed_value": value,
                "is_met": met,
            }
            for n, (value, met) in enumerate(seen, 1)
        ],
        "site_control_points": [
            {
                "site": site,
                "quantity": quantity,
                "point_number": n,
                "session_id": text or f"S{n}",
                "delivery_id": text or f"{site}-001",
                "measured_value": value,
                "unit_code": text or ("ppm" if quantity.endswith("ppm") else ""),
                "is_baseline": n <= 10,
                **own,
            }
            for quantity, n, value, own in charts
        ],
    }


def example() -> Rows:
    """Two sites; mill resent one trial, has two open returns, one withheld; way has a stopped delivery and a crash."""
    pool = merged(
        *(
            accepted(f"m-{r}-{c}", "mill", f"P{r}", c, 0.24 + 0.006 * r - 0.01 * (c == "unshod"))
            for r in (1, 2, 3, 4)
            for c in ("shod", "unshod")
        ),
        *(accepted(f"w-{r}-shod", "way", f"Q{r}", "shod", 0.25 + 0.005 * r) for r in (1, 2)),
    )
    quality: Rows = {
        "runners": [{"participant_id": p} for p in ("P1", "P2", "P3", "P4", "Q1", "Q2")],
        "deliveries": [
            delivery("mill-001", "mill", 1),
            delivery("mill-002", "mill", 2),
            delivery("way-001", "way", 1),
            delivery("way-002", "way", 2, "stopped", payload_count=0, payload_bytes=0),
            delivery("way-001-again", "way", 1, "repeat", received_utc="2026-03-20T10:00:00Z"),
            delivery("unknown-1", None, None, "stopped", received_utc="2026-03-21T10:00:00Z"),
        ],
        "standings": [
            standing("mill-001", "stand-1", "accepted", kind="standing"),
            standing("mill-001", "old", "returned", superseded=True),
            standing("mill-002", "old", "accepted", runner="P1", visit="last"),
            standing("mill-002", "gap", "returned", runner="P2", visit="last", condition="unshod"),
            standing("mill-002", "drift", "returned", runner="P3", visit="last"),
            standing("mill-002", "secret-trial", "withheld", runner="SECRETRUNNER", visit="last"),
            standing("way-001", "crash", "returned", runner="Q1", visit=None, condition=None),
        ],
        "findings": [
            finding("f-old", "mill-001", "old", "marker_gaps_are_short"),
            finding(
                "f-drift",
                "mill-002",
                "drift",
                "plates_read_zero_unloaded",
                seen="Plate 1 reads 180 N with nobody on it.",
                expected="An unloaded plate reads within 10 N of zero.",
                remedy="Zero the plates before the trial, or correct the offset where the force is exported, and export again.",
                place="plate 1",
                moment_s=0.42,
                signal="force:1:vertical",
            ),
            *(
                finding(
                    f"f-gap{n}",
                    "mill-002",
                    "gap",
                    "marker_gaps_are_short",
                    place=f"calcaneus_left, frames {100 * n} to {100 * n + 40}",
                    moment_s=0.6 + n / 100,
                    signal="marker:calcaneus_left:up" if n < 4 else None,
                )
                for n in range(5)
            ),
            finding("f-note", "mill-002", "gap", "speed_keeps_to_the_protocol", "notes"),
            finding("f-table", "mill-002", None, "cells_fit_their_columns", place="line 7, mass_kg"),
            finding("f-withheld", "mill-002", "secret-trial", "consent_covers_the_trial", "withholds"),
            finding("f-secret2", "mill-002", "secret-trial", "marker_gaps_are_short"),
            finding("f-mention", "mill-002", None, "keys_are_unique", seen="Trial secret-trial stands twice."),
            finding("f-crash", "way-001", "crash", "sides_alternate", seen="The check itself failed: KeyError in f, line 3."),
            finding("f-stop", "way-002", None, "bag_is_complete_and_unchanged", "stops", file="manifest-sha256.txt"),
            finding("f-stop2", "unknown-1", None, "bag_info_names_site_and_number", "stops", site=None, file="bag-info.txt"),
        ],
        "check_runs": [
            run("mill-001", "marker_gaps_are_short", "old", "found"),
            run("mill-001", "marker_gaps_are_short", "stand-1", "skipped", "a standing trial"),
            run("mill-002", "marker_gaps_are_short", "old", "pass"),
            run("mill-002", "consent_covers_the_trial", "secret-trial", "found"),
            run("mill-002", "sides_alternate", "secret-trial", "crashed", "ValueError in f, line 9"),
            run("way-001", "sides_alternate", "crash", "crashed", "KeyError in f, line 3"),
        ],
        "finding_pictures": [
            *picture("f-drift", "mill-002", "drift", "Vertical force, plate 1", "N"),
            *picture("f-gap0", "mill-002", "gap", "calcaneus left: height", "m"),
            *picture("f-secret2", "mill-002", "secret-trial", "calcaneus left: height", "m"),
        ],
    }  # fmt: skip
    contrasts = merged(
        contrast("stride_length_m", ("mill", -0.21), ("way", -0.25)),
        contrast("foot_strike_angle_deg", ("mill", -9.5), pooled=False),
        contrast("foot_strike_angle_deg", ("mill", -99.0), visit="last"),
    )
    force = [
        ("m-1-shod", 2.4, "left"),
        ("m-1-shod", 2.6, "right"),
        ("m-2-shod", 2.7, "left"),
        ("w-1-shod", 2.3, "left"),
    ]
    curves = [
        *(row for t, height, side in force for row in curve(t, "vertical_force_bw", "{BW}", height, side)),
        *curve("m-1-unshod", "vertical_force_bw", "{BW}", 2.2),
        *curve("m-1-shod", "ankle_sagittal_angle_deg", "deg", 20.0),
    ]
    whole = whole_site("mill")
    return merged(study_rows(), pool, quality, contrasts, change_over(), {"curves": curves}, whole)
