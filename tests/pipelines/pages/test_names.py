"""File names made from ids that came from outside."""

from __future__ import annotations

import re
from urllib.parse import unquote

from hypothesis import given
from hypothesis import strategies as st

from pipelines.pages.names import file_names, link


def test_a_plain_id_is_its_own_name() -> None:
    assert file_names([("trial", "brack-P01_s1.2")]) == {("trial", "brack-P01_s1.2"): "brack-P01_s1.2.html"}


def test_a_trial_and_a_delivery_of_the_same_id_get_two_files() -> None:
    assert len(set(file_names([("trial", "brack-003"), ("delivery", "brack-003")]).values())) == 2


def test_ids_that_differ_only_in_case_get_two_files() -> None:
    names = file_names([("trial", "T1"), ("trial", "t1")])
    assert len({name.lower() for name in names.values()}) == 2


def test_names_that_a_file_system_keeps_for_devices_are_not_used() -> None:
    for own in ("con", "NUL", "com1", "aux.1"):
        assert file_names([("trial", own)])["trial", own].split(".")[0].lower() != own.split(".")[0].lower()


@given(st.lists(st.tuples(st.sampled_from(["trial", "delivery"]), st.text(max_size=120)), max_size=20))
def test_any_ids_give_different_safe_names_inside_the_folder(ids: list[tuple[str, str]]) -> None:
    names = file_names(ids)
    assert set(names) == set(ids)
    assert len({name.lower() for name in names.values()}) == len(names)
    for name in names.values():
        assert re.fullmatch(r"[A-Za-z0-9_-][A-Za-z0-9._-]*\.html", name)
        assert len(name) < 110


@given(st.text(alphabet=st.characters(exclude_categories=["Cs"])))
def test_a_link_decodes_to_what_it_leads_to_and_holds_no_mark_of_its_own(part: str) -> None:
    made = link("fix", part)
    assert unquote(made) == f"fix/{part}"
    assert re.fullmatch(r"fix/[A-Za-z0-9._~%-]*", made)
