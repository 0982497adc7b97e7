"""Which versions of a consent form are understood."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schemas.consent_forms import is_understood


@pytest.mark.parametrize("version", ["2", "v3", "2.1", "2025-03", "4a", " 2 ", "2026_11_28"])
def test_a_study_that_names_no_forms_takes_any_plain_version(version: str) -> None:
    assert is_understood(version, ())


@pytest.mark.parametrize("version", ["", " ", "not signed yet", "n", "no", "2, withdrawn", "2?", "-1", "2 of 3", "-"])
def test_words_and_signs_are_no_version(version: str) -> None:
    assert not is_understood(version, ())


@given(st.text(max_size=12))
def test_of_a_study_that_names_its_forms_only_these_are_understood(version: str) -> None:
    assert is_understood(version, ("1", "pilot")) == (version.strip() in ("1", "pilot"))
