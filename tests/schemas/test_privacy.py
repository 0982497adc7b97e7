"""Every definition says what its columns can tell of a person and whose its rows are; what contradicts itself is refused."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pipelines.release.contents import released
from schemas.catalogue import TABLES, refuse_privacy, tables_of
from schemas.convert.to_arrow import arrow_schema
from schemas.convert.to_duckdb import comment_sql
from schemas.convert.to_markdown import table_page
from schemas.delivery import SENT_PARTICIPANTS, SENT_TRIALS
from schemas.leaving import Leaves
from schemas.model import Code, DefinitionError, Field, Kind, Layer, Table
from schemas.outcomes import FOOTFALLS
from schemas.outcomes_contrasts import POOLED_CONTRASTS, RUNNER_CONTRASTS
from schemas.privacy import IDENTIFIES, QUASI, RUNNER, SESSION, Privacy, Rows, Told

SHOE = Field("shoe", Kind.TEXT, "Which shoe.")


def a_table(rows: Rows | None, *more: Field, layer: Layer = Layer.DELIVERY) -> Table:
    """A table of shoes, a row for each runner."""
    runner = SENT_PARTICIPANTS.column("participant_id")
    sent = {"file_name": "shoes.csv"} if layer is Layer.DELIVERY else {}
    return Table("shoes", layer, "a shoe", ("participant_id",), (runner, SHOE, *more), rows=rows, **sent)  # type: ignore[arg-type]


def test_no_column_and_no_table_is_left_undeclared() -> None:
    undeclared = [f"{t.name}.{f.name}" for t in TABLES.values() for f in t.fields if f.privacy is Privacy.CLOSED]
    undeclared += [t.name for t in TABLES.values() if t.rows is None]
    assert undeclared == []


def test_a_column_that_says_nothing_is_closed() -> None:
    assert SHOE.privacy is Privacy.CLOSED


def test_what_a_runner_wrote_or_was_called_identifies_and_measures_of_the_body_are_quasi() -> None:
    texts = [f for t in tables_of(Layer.DELIVERY) for f in t.fields if f.kind is Kind.TEXT]
    assert {f.privacy for f in texts} == {IDENTIFIES}
    measures = ("birth_year", "sex", "stature_m", "mass_kg", "leg_length_m")
    assert {SENT_PARTICIPANTS.column(name).privacy for name in measures} == {QUASI}


@pytest.mark.parametrize(
    "rows",
    [
        None,
        Rows("shoe"),
        Rows(SESSION),
        Rows(RUNNER, day="week"),
        Rows(RUNNER, scopes=("motion",), follows=True),
        Rows(None, scopes=("motion",)),
        Rows(None, follows=True),
    ],
)
def test_a_delivery_table_that_does_not_say_whose_its_rows_are_or_not_in_a_way_that_can_be_is_refused(
    rows: Rows | None,
) -> None:
    with pytest.raises(DefinitionError, match="shoes"):
        a_table(rows)


def test_files_are_named_only_by_rows_that_lead_to_a_trial() -> None:
    photo = replace(SENT_TRIALS.column("sidecar"), name="photo")
    with pytest.raises(DefinitionError, match="only rows of trials name files"):
        a_table(Rows(RUNNER), photo)


@pytest.mark.parametrize(
    "wrong",
    [
        {"privacy": Privacy.PLAIN, "told": Told()},
        {"privacy": QUASI, "told": Told((5,))},
        {"privacy": Privacy.PLAIN, "names_file": True},
    ],
)
def test_a_column_whose_words_on_privacy_contradict_each_other_is_refused(wrong: dict) -> None:
    with pytest.raises(DefinitionError, match="shoe"):
        replace(SHOE, **wrong)


def test_a_new_column_and_a_new_outcome_stay_until_somebody_says_that_they_leave() -> None:
    new = Field("jerk_bw_per_s", Kind.REAL, "How suddenly.", unit="{BW}/s", privacy=Privacy.PLAIN)
    wider = replace(FOOTFALLS, fields=(*FOOTFALLS.fields, new))
    assert [f.name for f in released(wider).fields] == [f.name for f in released(FOOTFALLS).fields]
    assert POOLED_CONTRASTS.leaves
    assert RUNNER_CONTRASTS.leaves
    assert not POOLED_CONTRASTS.leaves.lets("jerk_bw_per_s")
    assert POOLED_CONTRASTS.leaves.lets("ankle/sagittal/segment/moment_peak_nm_per_kg"), (
        "over runners it tells no lever"
    )
    assert not RUNNER_CONTRASTS.leaves.lets("ankle/sagittal/segment/moment_peak_nm_per_kg")
    assert RUNNER_CONTRASTS.leaves.lets("ankle/sagittal/segment/angle_peak_deg")


@pytest.mark.parametrize(
    ("leaves", "why"),
    [
        (Leaves("participant_id size"), "unknown columns"),
        (Leaves("weight_n"), "with its key"),
        (Leaves("participant_id weight_n"), "grows with body mass"),
        (Leaves("participant_id birth_year remark"), "remark is identifies"),
        (Leaves("participant_id shoe"), "shoe is closed"),
        (Leaves("participant_id sore"), "sore is health"),
        (Leaves("participant_id level_value"), "by quantity"),
        (Leaves("participant_id level_value", by="quantity", quantities="level_bw"), "leaves with them"),
        (Leaves("participant_id quantity level_value", by="quantity"), "column that names them"),
        (Leaves("participant_id quantity level_value", by="quantity", quantities="level_bw level_kn"), "level_kn"),
        (
            Leaves("participant_id quantity level_value", by="quantity", quantities="level_bw stiffness_kn_per_m"),
            "stiff",
        ),
    ],
)
def test_what_no_release_may_hold_cannot_be_put_on_the_list(leaves: Leaves, why: str) -> None:
    more = (
        SENT_PARTICIPANTS.column("birth_year"),
        Field("weight_n", Kind.REAL, "Weight.", unit="N", privacy=Privacy.SENSITIVE),
        Field("remark", Kind.TEXT, "What was said.", privacy=IDENTIFIES),
        Field("sore", Kind.BOOLEAN, "Whether it hurts.", privacy=Privacy.HEALTH),
        Field("quantity", Kind.TEXT, "Of what.", privacy=Privacy.PLAIN),
        Field("level_value", Kind.REAL, "How much.", unit="{unit_of_row}", privacy=Privacy.SENSITIVE),
    )
    with pytest.raises(DefinitionError, match=why):
        replace(a_table(Rows(RUNNER), *more, layer=Layer.CORE), leaves=leaves)


def test_what_tells_people_apart_leaves_only_where_a_row_is_a_runner() -> None:
    year = replace(SENT_PARTICIPANTS.column("birth_year"), privacy=QUASI, told=Told((10,)))
    by_day = Field("day", Kind.INTEGER, "Day.", unit="d", privacy=Privacy.PLAIN)
    runner = SENT_PARTICIPANTS.column("participant_id")
    made = Table("years", Layer.CORE, "a year", ("participant_id",), (runner, year, by_day), rows=Rows(RUNNER))
    assert replace(made, leaves=Leaves("participant_id birth_year")).leaves
    with pytest.raises(DefinitionError, match="only in bands"):
        replace(made, key=("participant_id", "day"), leaves=Leaves("participant_id day birth_year"))


def test_scopes_days_and_pooled_tables_must_exist() -> None:
    with pytest.raises(DefinitionError, match="no scope of consent"):
        refuse_privacy(a_table(Rows(RUNNER, scopes=("sleep",))), TABLES)
    boot = replace(SHOE, kind=Kind.CODE, codes=(Code("boot", "A boot.", scopes=("sleep",)),))
    with pytest.raises(DefinitionError, match="no scope of consent"):
        refuse_privacy(
            replace(a_table(Rows(RUNNER)), fields=(boot, SENT_PARTICIPANTS.column("participant_id"))), TABLES
        )
    with pytest.raises(DefinitionError, match="neither a study day"):
        refuse_privacy(a_table(Rows(RUNNER, day="shoe")), TABLES)
    with pytest.raises(DefinitionError, match="no delivery table"):
        refuse_privacy(replace(a_table(Rows(RUNNER), layer=Layer.CORE), pools="runners"), TABLES)


def test_privacy_is_told_by_page_arrow_and_database() -> None:
    year = arrow_schema(SENT_PARTICIPANTS).field("birth_year").metadata
    assert year[b"privacy"] == b"quasi"
    assert b"participant_id" in arrow_schema(SENT_PARTICIPANTS).metadata[b"rows"]
    assert "Privacy: quasi, in a release in bands of 10" in comment_sql(SENT_PARTICIPANTS)
    assert "need consent to metabolic, pooling on the day of the session" in table_page(TABLES["sent_breaths"])
    assert "It never leaves the depot." in table_page(TABLES["finding_pictures"])
