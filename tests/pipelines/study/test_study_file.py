from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from checks.registry import catalogue
from pipelines.command.docs_settings import example_profile
from pipelines.errors import Unusable
from pipelines.study.file import load_profile, load_study
from pipelines.study.reading import MOST_BYTES
from schemas.study import SiteProfile
from tests.builders import a_study
from tests.tries import tries

REPO = Path(__file__).resolve().parents[3]
DEMO = REPO / "demo_site_uploads" / "study.yaml"


def settings_of_a_study() -> dict:
    """The builders' study as plain settings, and its profiles apart."""
    study = a_study().model_dump(mode="json")
    for site in study["sites"].values():
        # the builders' short labels are not all different
        site["profile"]["markers"] = {role: f"m_{role}" for role in site["profile"]["markers"]}
    return study


def write(folder: Path, change=None, profile_change=None) -> Path:
    """A study file with its profiles; ``change`` and ``profile_change`` edit the settings first."""
    study = settings_of_a_study()
    (folder / "sites").mkdir(exist_ok=True)
    for name, site in study["sites"].items():
        if profile_change and name == "mill":
            profile_change(site["profile"])
        (folder / "sites" / f"{name}.yaml").write_text(yaml.safe_dump(site["profile"]))
        site["profile"] = f"sites/{name}.yaml"
    if change:
        change(study)
    path = folder / "study.yaml"
    path.write_text(yaml.safe_dump(study))
    return path


def refusal(path: Path, load=load_study) -> str:
    with pytest.raises(Unusable) as raised:
        load(path)
    text = str(raised.value)
    assert "Expected:" in text
    assert "What to do:" in text
    assert "pydantic" not in text
    assert "Traceback" not in text
    return text


def test_a_study_is_read_with_its_profiles(tmp_path):
    loaded = load_study(write(tmp_path))
    assert loaded.study.model_dump(mode="json") == settings_of_a_study()
    assert loaded.path == tmp_path / "study.yaml"


def test_the_demo_study_is_read():
    loaded = load_study(DEMO)
    assert loaded.study.invented
    assert set(loaded.study.sites) >= {"brack", "corrie"}


def test_a_profile_is_read_on_its_own():
    assert load_profile(DEMO.parent / "sites" / "brack.yaml").site == "brack"


def test_the_version_changes_with_any_byte_of_any_file_and_with_nothing_else(tmp_path):
    path = write(tmp_path)
    version = load_study(path).version
    assert version.startswith("1+")
    assert len(version) == len("1+") + 8
    assert load_study(path).version == version
    elsewhere = tmp_path / "copy"
    elsewhere.mkdir()
    assert load_study(write(elsewhere)).version == version
    profile = tmp_path / "sites" / "way.yaml"
    profile.write_text(profile.read_text() + "# a remark\n")
    changed = load_study(path).version
    assert changed != version
    path.write_text(path.read_text() + "\n")
    assert load_study(path).version not in (version, changed)


@pytest.mark.parametrize(
    ("change", "place", "words"),
    [
        (lambda s: s.pop("title"), "title", "missing"),
        (lambda s: s.update(title=5), "title", "a text"),
        (lambda s: s.update(version=1.0), "version", "quotes"),
        (lambda s: s.update(titel="x"), "titel", "perhaps title"),
        (lambda s: s.update(conditions=["shod"]), "conditions", "group of named settings"),
        (lambda s: s["conditions"].update({1: {"description": "x"}}), "conditions.1", "quotes"),
        (lambda s: s["conditions"]["shod"].update(colour="x"), "conditions.shod.colour", "description"),
        (lambda s: s["visits"]["first"].update(planned_week=-1), "visits.first.planned_week", "0 or more"),
        (lambda s: s["visits"]["first"].update(planned_week=0.5), "visits.first.planned_week", "a whole number"),
        (lambda s: s["processing"].update(filter_order=9), "processing.filter_order", "8 or less"),
        (lambda s: s["processing"].update(contact_threshold_n="x"), "processing.contact_threshold_n", "a number"),
        (lambda s: s["processing"].update(contact_threshold_n=0), "processing.contact_threshold_n", "more than 0"),
        (lambda s: s["processing"].update(impact_window_fraction=1), "impact_window_fraction", "0.4 or less"),
        (lambda s: s["processing"].update(heel_role="heel"), "processing.heel_role", "marker role with sides"),
        (lambda s: s["processing"].update(toe_role="sacrum"), "processing.toe_role", "marker role with sides"),
        (lambda s: s.update(invented="perhaps"), "invented", "true or false"),
        (lambda s: s.update(trial_time_limit_s=float("inf")), "trial_time_limit_s", "finite"),
        (lambda s: s["sites"]["mill"].pop("profile"), "sites.mill.profile", "missing"),
        (lambda s: s["sites"]["mill"].update(profile={"site": "mill"}), "sites.mill.profile", "the path"),
        (lambda s: s["sites"]["mill"].update(profile="/etc/profile.yaml"), "sites.mill.profile", "relative"),
        (lambda s: s["sites"]["mill"].update(profile="sites/way.yaml"), "sites.mill.profile", "site 'way'"),
        (lambda s: s.update(limits={"no_such_check": {}}), "limits.no_such_check", "not a check"),
    ],
)
def test_each_faulty_setting_is_named_by_its_place_and_in_plain_words(change, place, words, tmp_path):
    text = refusal(write(tmp_path, change))
    assert place in text
    assert words in text.lower()
    assert "study.yaml" in text


@pytest.mark.parametrize(
    ("change", "place", "words"),
    [
        (lambda p: p["axes"].update(up="+w"), "axes.up", "'+x'"),
        (lambda p: p["axes"].update(up="+x"), "axes", "three different"),
        (lambda p: p["axes"].update(up="-y"), "axes", "left-handed"),
        (lambda p: p.update(marker_rate_hz=0), "marker_rate_hz", "more than 0"),
        (lambda p: p.update(plate_types=[2, "x"]), "plate_types.2", "a whole number"),
        (lambda p: p.update(force_rate=1000), "force_rate", "perhaps force_rate_hz"),
        (lambda p: p.update(surface="grass"), "surface", "treadmill"),
    ],
)
def test_a_fault_in_a_profile_names_the_profiles_file(change, place, words, tmp_path):
    text = refusal(write(tmp_path, profile_change=change))
    assert "sites/mill.yaml" in text.replace("\\", "/")
    assert place in text
    assert words in text.lower()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda p: p["markers"].update(calcaneous_left="x"), "perhaps calcaneus_left"),
        (lambda p: p["markers"].update(sacrum_left="x"), "not a marker of the study"),
        (lambda p: p["markers"].pop("calcaneus_left"), "markers.calcaneus_left: this setting is missing"),
        (lambda p: p["markers"].update(sacrum=p["markers"]["calcaneus_left"]), "to 2 roles"),
        (lambda p: p.update(force_rate_hz=None), "force plates"),
        (lambda p: p.update(site="way"), "is the profile of site 'way'"),
    ],
)
def test_a_profile_that_does_not_fit_the_study_is_refused(change, words, tmp_path):
    text = refusal(write(tmp_path, profile_change=change))
    assert "sites.mill.profile" in text
    assert words in text.lower()


def test_a_limit_of_a_real_check_is_taken_and_an_unknown_threshold_refused(tmp_path):
    check = next(spec for spec in catalogue().values() if spec.limits)
    limit = next(iter(check.limits))
    loaded = load_study(write(tmp_path, lambda s: s.update(limits={check.name: {limit: 0.5}})))
    assert loaded.study.limits == {check.name: {limit: 0.5}}
    text = refusal(write(tmp_path, lambda s: s.update(limits={check.name: {"no_such_limit": 1}})))
    assert f"limits.{check.name}.no_such_limit" in text
    assert limit in text


def test_all_faults_are_told_at_once(tmp_path):
    def change(study):
        study.pop("title")
        study["processing"]["filter_order"] = 0

    text = refusal(write(tmp_path, change))
    assert "2 settings" in text
    assert "title" in text
    assert "processing.filter_order" in text


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "holds no settings"),
        (b"- a\n- b\n", "holds no settings"),
        (b"a: [1\n", "line"),
        (b"a: 1\na: 2\n", "a stands twice"),
        (b"a: {b: 1, b: 2}\n", "b stands twice"),
        (b"a: &x {b: 1}\nc: *x\n", "alias"),
        (b"a: &x [*x]\n", "alias"),
        (b"a: !!python/object/apply:os.system ['true']\n", "line 1"),
        (b"a: \xff\n", "not readable"),
        (b"[" * 5000, "not readable"),
        (b"a: 2020-99-99\n", "not readable"),
        (b"? {a: 1}\n: 2\n", "not readable"),
        (b"\x00", "not readable"),
    ],
)
def test_a_file_that_is_no_plain_yaml_is_refused_in_plain_words(content, words, tmp_path):
    path = tmp_path / "study.yaml"
    path.write_bytes(content)
    assert words in refusal(path)


def test_a_doubling_chain_of_aliases_is_refused_at_once(tmp_path):
    lines = ["a0: &a0 [x, x]"] + [f"a{n}: &a{n} [*a{n - 1}, *a{n - 1}]" for n in range(1, 60)]
    path = tmp_path / "study.yaml"
    path.write_text("\n".join(lines))
    assert "alias" in refusal(path)


def test_a_file_that_is_not_there_or_too_large_or_a_folder_is_refused(tmp_path):
    assert "no such file" in refusal(tmp_path / "none.yaml")
    large = tmp_path / "large.yaml"
    large.write_bytes(b"#" * (MOST_BYTES + 1))
    assert "larger" in refusal(large)
    assert "cannot be read" in refusal(tmp_path)
    assert "no such file" in refusal(tmp_path / "none.yaml", load_profile)


def test_a_profile_that_is_not_there_is_named(tmp_path):
    path = write(tmp_path)
    (tmp_path / "sites" / "way.yaml").unlink()
    assert "way.yaml" in refusal(path)


def test_the_example_profile_of_the_documents_can_be_read_and_shows_every_setting(tmp_path):
    path = tmp_path / "brack.yaml"
    path.write_text(example_profile())
    load_profile(path)
    assert set(yaml.safe_load(example_profile())) == set(SiteProfile.model_fields)


@tries(60)
@given(st.binary(max_size=200) | st.text(max_size=200).map(lambda text: text.encode(errors="replace")))
def test_any_bytes_are_read_or_refused_but_nothing_else_is_raised(content):
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "study.yaml"
        path.write_bytes(content)
        with pytest.raises(Unusable):
            load_study(path)


def own_limit(**changes: object) -> dict:
    """Settings of one site with a threshold of its own for the first check that has one."""
    check = next(spec for spec in catalogue().values() if spec.limits)
    limit = {"value": 0.5, "reason": "An older plate, serviced in spring.", "since": "2026-03-02", **changes}
    return {check.name: {next(iter(check.limits)): limit}}


def with_own_limits(limits: dict):
    return lambda study: study["sites"]["mill"].update(limits=limits)


def test_a_laboratory_can_have_a_threshold_of_its_own_with_reason_and_day(tmp_path):
    limits = own_limit()
    ((check, (threshold,)),) = ((name, tuple(own)) for name, own in limits.items())
    study = load_study(write(tmp_path, with_own_limits(limits))).study
    assert study.limits_of(check, "mill") == {threshold: 0.5}
    assert study.limits_of(check, "way") == study.limits_of(check, None) == study.limits_of(check, "nowhere") == {}
    assert study.sites["mill"].limits[check][threshold].since.isoformat() == "2026-03-02"


EVENTS = {"contact_threshold_n": 30, "reason": "The belt's motor shakes the plate.", "since": "2026-03-02"}


def test_a_laboratory_can_find_events_otherwise_with_reason_and_day(tmp_path):
    study = load_study(write(tmp_path, lambda study: study["sites"]["mill"].update(events=EVENTS))).study
    assert study.processing_at("mill").contact_threshold_n == 30
    assert study.processing_at("mill").model_copy(update={"contact_threshold_n": 20.0}) == study.processing_at("way")
    assert study.processing_at(None) is study.processing_at("nowhere") is study.processing


def test_a_level_that_would_neither_be_taken_off_nor_go_back_is_refused(tmp_path):
    limit = {"plates_read_zero_unloaded": {"offset_n": {"value": 20, "reason": "Old plates.", "since": "2026-03-02"}}}
    with pytest.raises(Unusable, match=r"ites.mill.events.largest_level_n of 20 or more"):
        load_study(write(tmp_path, lambda study: study["sites"]["mill"].update(limits=limit)))
    both = {"limits": limit, "events": {**EVENTS, "largest_level_n": 20}}
    study = load_study(write(tmp_path, lambda study: study["sites"]["mill"].update(both))).study
    assert study.processing_at("mill").largest_level_n == 20


@pytest.mark.parametrize(
    "name",
    ["marker_cutoff_hz", "force_cutoff_hz", "event_cutoff_hz", "marker_events.cutoff_hz", "joints.moment_cutoff_hz"],
)
def test_a_filter_that_filters_nothing_at_a_laboratorys_rate_is_refused(name, tmp_path):
    *group, setting = name.split(".")

    def change(study):
        settings = study.setdefault("processing", {})
        (settings.setdefault(group[0], {}) if group else settings)[setting] = 1000

    with pytest.raises(Unusable, match=rf"rocessing.{name} below half the \d+ Hz of site mill"):
        load_study(write(tmp_path, change))


@pytest.mark.parametrize(
    ("settings", "told"),
    [
        ({"strike_index_force_n": 5000}, "400 or less"),
        ({"contact_threshold_n": 400}, "100 or less"),
        ({"contact_sure_n": 10}, "contact_sure_n, 10, not below contact_threshold_n, 20"),
        ({"cop_threshold_n": 150, "strike_index_force_n": 100}, "strike_index_force_n, 100, not below cop_threshold_n"),
        ({"marker_events": {"toe_off_rise_m": 2.2}}, "0.06 or less"),
        ({"loading_fraction": 0.9}, "0.4 or less"),
        ({"force_cutoff_hz": None}, "a number"),
    ],
)
def test_settings_with_which_outcomes_would_be_empty_or_of_nothing_are_refused(settings, told, tmp_path):
    with pytest.raises(Unusable) as refused:
        load_study(write(tmp_path, lambda study: study.setdefault("processing", {}).update(settings)))
    assert told.lower() in str(refused.value).lower()


def test_a_laboratorys_own_threshold_is_not_above_the_force_that_makes_a_contact_sure(tmp_path):
    events = {**EVENTS, "contact_threshold_n": 60}
    with pytest.raises(
        Unusable, match=r"ites.mill.events.contact_threshold_n of processing.contact_sure_n, 50 N, or l"
    ):
        load_study(write(tmp_path, lambda study: study["sites"]["mill"].update(events=events)))


@pytest.mark.parametrize("events", [{**EVENTS, "contact_threshold_n": None}, {**EVENTS, "reason": " "}])
def test_events_of_a_laboratory_without_a_change_or_a_reason_are_refused(events, tmp_path):
    with pytest.raises(Unusable, match="events"):
        load_study(write(tmp_path, lambda study: study["sites"]["mill"].update(events=events)))


def test_a_day_may_be_written_without_quotes(tmp_path):
    path = write(tmp_path, with_own_limits(own_limit()))
    path.write_text(path.read_text().replace("'2026-03-02'", "2026-03-02"))
    assert "since: 2026-03-02" in path.read_text()
    (limit,) = next(iter(load_study(path).study.sites["mill"].limits.values())).values()
    assert limit.since.day == 2


def test_the_laboratorys_own_threshold_wins_over_the_studys(tmp_path):
    limits = own_limit(value=7)
    ((check, (threshold,)),) = ((name, tuple(own)) for name, own in limits.items())

    def change(study):
        study["limits"] = {check: {threshold: 3}}
        study["sites"]["mill"]["limits"] = limits

    study = load_study(write(tmp_path, change)).study
    assert study.limits_of(check, "mill") == {threshold: 7}
    assert study.limits_of(check, "way") == {threshold: 3}


@pytest.mark.parametrize(
    ("limits", "place", "words"),
    [
        (own_limit(reason="  "), "reason", "not empty"),
        (own_limit(since="spring"), "since", "2026-03-02"),
        (own_limit(since=20260302), "since", "2026-03-02"),
        (own_limit(since="2026-02-30"), "since", "2026-03-02"),
        (own_limit(value="much"), "value", "A number"),
        (own_limit(until="2026-04-01"), "until", "ne of value, reason, since"),
        ({"marker_gaps_are_shorts": {}}, "marker_gaps_are_shorts", "rhaps marker_gaps_are_short"),
    ],
)
def test_a_threshold_of_a_laboratory_that_cannot_be_used_is_refused(limits, place, words, tmp_path):
    text = refusal(write(tmp_path, with_own_limits(limits)))
    assert f"sites.mill.limits.{next(iter(limits))}" in text
    assert place in text
    assert words in text


@pytest.mark.parametrize("missing", ["value", "reason", "since"])
def test_a_threshold_of_a_laboratory_needs_value_reason_and_day(missing, tmp_path):
    limits = own_limit()
    next(iter(next(iter(limits.values())).values())).pop(missing)
    assert f"{missing}: this setting is missing" in refusal(write(tmp_path, with_own_limits(limits))).lower()


def test_an_unknown_threshold_of_a_laboratory_is_told_with_the_nearest_one(tmp_path):
    ((check, own),) = own_limit().items()
    ((threshold, limit),) = own.items()
    text = refusal(write(tmp_path, with_own_limits({check: {f"{threshold}s": limit}})))
    assert f"sites.mill.limits.{check}.{threshold}s" in text
    assert f"erhaps {threshold}." in text


@pytest.mark.parametrize(
    ("planned", "words"),
    [
        ({"moor": {"first": {"shod": 4}}}, "moor, which is not among the sites"),
        ({"mill": {"third": {"shod": 4}}}, "third, which is not among the visits"),
        ({"mill": {"{visit}": {"barefoot_on_ice": 4}}}, "barefoot_on_ice, which is not among the conditions"),
        ({"mill": {"{visit}": {"{condition}": 0}}}, "plans 0 runners"),
        ({"mill": {"{visit}": {"{condition}": "many"}}}, "planned_runners.mill"),
    ],
)
def test_runners_are_planned_for_sites_visits_and_conditions_of_the_study_alone(tmp_path, planned, words):
    study = a_study()
    first = {"{visit}": next(iter(study.visits)), "{condition}": next(iter(study.conditions))}

    def named(tree):
        return {first.get(k, k): named(v) for k, v in tree.items()} if isinstance(tree, dict) else tree

    path = write(tmp_path, lambda settings: settings.update(planned_runners=named(planned)))
    assert words in refusal(path)


HIP = {"description": "Hip.", "ways": [["greater_trochanter"], ["sacrum", "lateral_femoral_epicondyle"]]}


def with_ways(study: dict) -> None:
    study["marker_roles"]["greater_trochanter"]["required"] = False
    study["requires_any"] = {"hip_centre": HIP}


def without_trochanters(profile: dict) -> None:
    profile["markers"] = {role: label for role, label in profile["markers"].items() if "trochanter" not in role}


def test_each_site_needs_its_own_way_of_what_may_come_in_several(tmp_path):
    study = load_study(write(tmp_path, with_ways, without_trochanters)).study
    named = {"greater_trochanter_left", "greater_trochanter_right"}
    assert named <= set(study.required_at("way"))
    assert not named & set(study.required_at("mill"))
    assert {"sacrum", "lateral_femoral_epicondyle_left"} <= set(study.required_at("mill"))
    assert len(study.required_at("mill")) == len(set(study.required_at("mill")))


def test_a_site_that_has_none_of_the_ways_is_named_with_all_of_them(tmp_path):
    def fewer(profile):
        without_trochanters(profile)
        del profile["markers"]["lateral_femoral_epicondyle_right"]

    def optional(study):
        with_ways(study)
        study["marker_roles"]["lateral_femoral_epicondyle"]["required"] = False

    text = refusal(write(tmp_path, optional, fewer))
    assert "sites.mill.profile: markers gives no hip_centre" in text or "This setting gives no hip_centre" in text
    assert (
        "the labels of greater_trochanter, or of sacrum and lateral_femoral_epicondyle, on both sides" in text.lower()
    )


@pytest.mark.parametrize(
    ("ways", "told"),
    [
        ([["greater_trochanter"], ["knee_cap"]], "names knee_cap, which is not among marker_roles"),
        ([["greater_trochanter"], []], "each way names one marker role or more"),
        ([["greater_trochanter"]], "a list of 2 or more"),
    ],
)
def test_ways_that_are_none_are_refused(tmp_path, ways, told):
    def change(study):
        study["requires_any"] = {"hip_centre": {"description": "Hip.", "ways": ways}}

    assert told in refusal(write(tmp_path, change)).lower()


def test_ways_are_known_by_landmark_whatever_the_study_calls_its_roles(tmp_path):
    def renamed(study):
        with_ways(study)
        study["marker_roles"]["hip"] = study["marker_roles"].pop("greater_trochanter") | {
            "landmark": "greater_trochanter"
        }
        study["requires_any"]["hip_centre"] = HIP | {"ways": [["hip"], ["sacrum", "lateral_femoral_epicondyle"]]}

    def profile(own):
        own["markers"] = {role.replace("greater_trochanter", "hip"): label for role, label in own["markers"].items()}

    path = write(tmp_path, renamed, profile)
    (tmp_path / "sites" / "way.yaml").write_text(
        (tmp_path / "sites" / "way.yaml").read_text().replace("  greater_trochanter", "  hip")
    )
    assert "greater_trochanter_left" in load_study(path).study.required_at("mill")
