"""Nulls and their reasons: what is written for every outcome table, and what is left where columns are not there."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pipelines.pool.null_reasons import REASONS
from pipelines.pool.nulls import EXPLAINED, outcome_nulls
from schemas.catalogue import TABLES
from schemas.model import Kind, Layer

_OF_OUTCOMES = [table for table in TABLES.values() if table.layer is Layer.OUTCOME]


@pytest.mark.parametrize("table", _OF_OUTCOMES, ids=lambda table: table.name)
def test_every_outcome_table_with_numbers_that_may_be_null_is_among_those_explained(table) -> None:  # type: ignore[no-untyped-def]
    maybe = [f.name for f in table.fields if f.nullable and f.kind is not Kind.TEXT]
    assert not maybe or table in [one.table for one in EXPLAINED]


@pytest.mark.parametrize("one", EXPLAINED, ids=lambda one: one.table.name)
def test_rules_are_about_columns_of_their_table_and_give_reasons_that_have_words(one) -> None:  # type: ignore[no-untyped-def]
    columns = [name for names, _ in one.rules for name in names]
    assert len(columns) == len(set(columns))
    assert set(columns) <= {f.name for f in one.table.fields if f.nullable}
    assert {reason for _, rules in one.rules for reason, _ in rules} <= set(REASONS)
    assert {*one.key, "trial_id"} >= set(one.table.key)


def test_where_columns_are_not_there_only_the_rules_that_look_at_them_are_left_out() -> None:
    whole = TABLES["planned_contrasts"]
    kept = tuple(f for f in whole.fields if f.name not in ("smallest_effect_value", "cochran_q_index"))
    sql = outcome_nulls([replace(whole, fields=kept, leaves=None)])
    assert "'heterogeneity_percent'" in sql
    assert "'adjusted_p_value'" in sql
    assert "cochran_q_index" not in sql
    assert "against_smallest_effect" not in sql  # why it is null is known by the smallest effect
