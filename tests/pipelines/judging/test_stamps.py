"""What makes a delivery due: every setting that judging reads, of its own laboratory, and nothing that is only shown."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
import yaml

from pipelines.identity.identifiers import NOBODY
from pipelines.judging import stamps
from pipelines.judging.stamps import PROFILE, SETTINGS, Used, changed_places, of_delivery, reason
from pipelines.study.file import load_study
from pipelines.versions import judging_sources, part_sources
from schemas.study import SiteProfile, Study
from tests.delivery_builders import REPO, STUDY


def used(study: Path = STUDY, site: str = "corrie") -> dict[str, Used]:
    return of_delivery(load_study(study).study, site, NOBODY, judging_sources())


def edited(tmp_path: Path, old: str, new: str, file: str = "study.yaml") -> Path:
    """A copy of the demonstration's study with one piece of text replaced."""
    shutil.copytree(STUDY.parent / "sites", tmp_path / "sites")
    shutil.copyfile(STUDY, tmp_path / "study.yaml")
    text = (tmp_path / file).read_text(encoding="utf-8")
    assert text.count(old) == 1
    (tmp_path / file).write_text(text.replace(old, new), encoding="utf-8")
    return tmp_path / "study.yaml"


FOURTH = "sites:\n  dale: {description: A fourth., profile: sites/dale.yaml}\n"


def differing(study: Path, site: str = "corrie") -> dict[str, list[str]]:
    before, now = used(site=site), used(study, site)
    places = {what: changed_places(before[what].content, now[what].content) for what in now}
    assert {what for what, own in places.items() if own} == {w for w in now if now[w].digest != before[w].digest}
    return {what: own for what, own in places.items() if own}


@pytest.mark.parametrize(
    ("old", "new", "file"),
    [
        ("title: The Fellside footwear study\n", "title: Another title\n", "study.yaml"),
        ('version: "1"', 'version: "2"  # why', "study.yaml"),
        ("No shoes.", "Barefoot.", "study.yaml"),
        ("Back of the heel,", "Behind the heel,", "study.yaml"),
        ("Runway laboratory (invented).", "Runway.", "study.yaml"),
        ("    reference_condition: cushioned\n    co_", "    reference_condition: cushioned\n\n    co_", "study.yaml"),
        ("  contrasts:\n    reference_condition: cushioned", "  contrasts:\n    fewest_runners: 4", "study.yaml"),
        ("    new_footwear: [thin_soled]", "    new_footwear: [thin_soled, unshod]", "study.yaml"),
        ("description: \"Runway, three plates", "description: \"Runway with three plates", "sites/corrie.yaml"),
        ("marker_rate_hz: 250", "marker_rate_hz: 250  # since spring", "sites/corrie.yaml"),
        ("marker_rate_hz: 200", "marker_rate_hz: 250", "sites/tarn.yaml"),
    ],
)  # fmt: skip
def test_what_is_only_shown_or_another_laboratorys_judges_nothing(
    tmp_path: Path, old: str, new: str, file: str
) -> None:
    assert differing(edited(tmp_path, old, new, file)) == {}


def test_a_fourth_laboratory_judges_nothing(tmp_path: Path) -> None:
    study = edited(tmp_path, "sites:\n", FOURTH)
    profile = yaml.safe_load((tmp_path / "sites" / "corrie.yaml").read_text())
    (tmp_path / "sites" / "dale.yaml").write_text(yaml.safe_dump(profile | {"site": "dale"}))
    assert differing(study) == {}


@pytest.mark.parametrize(
    ("old", "new", "file", "what", "place"),
    [
        ("contact_threshold_n: 20 ", "contact_threshold_n: 30 ", "study.yaml", SETTINGS, "processing.contact_threshold_n"),
        ("week_5: {planned_week: 5", "week_5: {planned_week: 6", "study.yaml", SETTINGS, "visits.week_5.planned_week"),
        ("  unshod: {description", "  barefoot: {description: Bare.}\n  unshod: {description", "study.yaml", SETTINGS, "conditions.barefoot"),
        ("version: \"1\"", "version: \"1\"\ntrial_time_limit_s: 5", "study.yaml", SETTINGS, "trial_time_limit_s"),
        ("force_rate_hz: 1000", "force_rate_hz: 2000", "sites/corrie.yaml", PROFILE, "force_rate_hz"),
        ("calcaneus_left: heel-left", "calcaneus_left: LHEEL", "sites/corrie.yaml", PROFILE, "markers.calcaneus_left"),
    ],
)  # fmt: skip
def test_what_judging_reads_makes_due_and_is_named(
    tmp_path: Path, old: str, new: str, file: str, what: str, place: str
) -> None:
    found = differing(edited(tmp_path, old, new, file))
    assert list(found) == [what]
    assert place in found[what]


def test_another_laboratorys_profile_makes_only_that_one_due(tmp_path: Path) -> None:
    study = edited(tmp_path, "force_rate_hz: 1000", "force_rate_hz: 2000", "sites/corrie.yaml")
    assert differing(study, "brack") == {}


def test_a_limit_of_the_own_laboratory_counts_and_its_reason_does_not(tmp_path: Path) -> None:
    line = '  corrie: {description: "Runway laboratory (invented).", profile: sites/corrie.yaml'
    limit = ", limits: {plates_read_zero_unloaded: {offset_n: {value: 12, reason: %s, since: 2026-03-02}}}"
    one = edited(tmp_path / "one", line, line + limit % "old")
    other = edited(tmp_path / "other", line, line + limit % "older")
    assert differing(one)[SETTINGS] == ["sites.corrie.limits.plates_read_zero_unloaded"]
    assert differing(one, "brack") == {}
    assert used(one)[SETTINGS].digest == used(other)[SETTINGS].digest


def test_a_limit_of_a_check_of_whole_sites_judges_no_trial(tmp_path: Path) -> None:
    from checks.registry import Subject, catalogue

    spec = next(s for s in catalogue().values() if s.about is Subject.SITE and s.limits)
    added = f"limits: {{{spec.name}: {{{next(iter(spec.limits))}: 1}}}}\nsites:\n"
    assert differing(edited(tmp_path, "sites:\n", added)) == {}


def places_of(model: Any) -> set[str]:
    return set(stamps._content(model.model_dump(mode="json"), ()))


def test_every_setting_counts_but_those_that_are_listed() -> None:
    """The list is closed: each entry of it still names a setting, and every other place is in the stamp."""
    study = load_study(STUDY).study
    left_out = places_of(study) - set(stamps.settings_content(study, None))
    assert {place.split(".")[0] for place in left_out} == {
        "id", "title", "version", "invented", "citation", "smallest_cell", "disclosure", "judging_again", "sites",
        "answer_within_days", "planned_runners",
        "conditions", "visits", "muscles", "marker_roles", "processing",
    }  # fmt: skip
    assert {p.split(".")[1] for p in left_out if p.startswith("processing.")} == {"contrasts", "transition"}
    named = {
        p.split(".")[-1] for p in left_out if p.split(".")[0] in ("conditions", "visits", "muscles", "marker_roles")
    }
    assert named == {"description"}
    profile = study.sites["corrie"].profile
    assert places_of(profile) - set(stamps.profile_content(profile)) == {"description"}
    assert {name.split(".")[0] for name in stamps.NOT_READ_BY_JUDGING} <= set(Study.model_fields)
    assert "description" in SiteProfile.model_fields


def test_the_reason_is_the_true_one_and_names_the_place() -> None:
    now = Used(SETTINGS, {"processing.contact_threshold_n": "30.0"})
    assert reason(now, {"processing.contact_threshold_n": "20.0"}, "corrie") == (
        "Settings changed: processing.contact_threshold_n."
    )
    profile = Used(PROFILE, {str(n): "1" for n in range(5)})
    assert reason(profile, {}, "corrie") == "The profile of corrie changed: 0, 1, 2 and 2 more."
    assert reason(profile, None, "corrie") == "The profile of corrie changed."
    assert reason(Used(PROFILE, {}), {"axes.up": "+z"}, "corrie") == "corrie is no site of the study file any more."


def test_a_changed_check_is_told_from_changed_science_and_pages_from_both(tmp_path: Path) -> None:
    for package in ("schemas", "checks", "pipelines"):
        shutil.copytree(REPO / package, tmp_path / package, ignore=shutil.ignore_patterns("__pycache__"))
    before = part_sources(tmp_path)
    for file, part in (
        ("checks/force/plates.py", "checks"),
        ("pipelines/science/footfalls.py", "science"),
        ("pipelines/intake/clocks.py", "science"),
        ("schemas/codes.py", "science"),
        ("pipelines/depot/consents.py", "science"),
        ("pipelines/depot/books/gates.py", "science"),
        ("pipelines/depot/books/book.py", None),
        ("pipelines/pages/build.py", None),
        ("pipelines/pool/build.py", None),
        ("pipelines/assets/definitions.py", None),
        ("checks/site/whole.py", None),
    ):
        path = tmp_path / file
        path.write_text(path.read_text() + "\n# a comment\n")
        assert part_sources(tmp_path) == before, f"a comment in {file} judges nothing again"
        path.write_text(path.read_text() + "\nADDED = 1\n")
        now = part_sources(tmp_path)
        assert {p for p in now if now[p] != before[p]} == ({part} if part else set()), file
        before = now
    (tmp_path / "pipelines" / "new_science.py").write_text("")
    assert part_sources(tmp_path)["science"] != before["science"], "what nobody has listed counts"
