"""What a release tells of runners: answers that can be counted by hand, and k-anonymity whatever the runners."""

from __future__ import annotations

from collections import Counter

import duckdb
from hypothesis import given
from hypothesis import strategies as st

from pipelines.release.disclose import sites_told
from pipelines.release.generalise import Attribute, generalised, lower_end, smallest_group
from schemas.core import SESSIONS
from schemas.quality import STANDINGS


def test_a_laboratory_counts_where_any_table_of_the_release_tells_that_a_runner_was_there() -> None:
    """The session that is pooled may be one laboratory's, and a trial that went back another's."""
    with duckdb.connect() as connection:
        connection.execute("ATTACH ':memory:' AS pooled")
        connection.execute("CREATE TABLE pooled.deliveries AS SELECT 'brack-001' AS delivery_id, 'brack' AS site")
        sessions = "SELECT 'R1' AS participant_id, 'tarn' AS site, 'brack-001' AS delivery_id"
        connection.execute(f"CREATE TABLE pooled.sessions AS {sessions}")
        connection.execute(f"CREATE TABLE pooled.standings AS {sessions.replace('tarn', 'corrie')}")
        assert sites_told(connection, (SESSIONS,))["R1"] == {"brack", "tarn"}
        assert sites_told(connection, (SESSIONS, STANDINGS))["R1"] == {"brack", "corrie", "tarn"}


def test_nothing_is_told_less_exactly_where_enough_share_it_as_it_is_in_the_narrowest_bands() -> None:
    ages = Attribute("age", (10.0, 20.0), (31, 34, 38, 41, 44, 48))
    told = generalised([ages], ["brack"] * 6, 3, 0.0)
    assert told.values["age"] == [30, 30, 30, 40, 40, 40]
    assert (told.before, told.alone_before, told.after) == (1, 6, 3)
    assert told.levels == {"age": 10.0}
    assert (told.generalised, told.suppressed) == ({"age": 6}, {"age": 0})


def test_bands_are_made_wider_before_anybody_is_left_out() -> None:
    """Of decades 30, 30, 40, 40 none has three runners; of twenty years 20-39 and 40-59 neither; at all four do."""
    ages = Attribute("age", (10.0, 20.0, 40.0), (31, 34, 41, 44))
    assert generalised([ages], [""] * 4, 2, 0.0).values["age"] == [30, 30, 40, 40]
    assert generalised([ages], [""] * 4, 3, 0.0).values["age"] == [None] * 4
    wide = Attribute("age", (10.0, 20.0, 60.0), (31, 34, 41, 44))
    assert generalised([wide], [""] * 4, 3, 0.0).values["age"] == [0, 0, 0, 0]


def test_a_runner_who_is_unlike_all_others_is_left_out_with_the_smallest_group_that_hides_it() -> None:
    """Left out alone it would be known by that: who of ten is the one that nothing is told of."""
    masses = Attribute("mass", (5.0, 10.0), (70.0, 71.0, 72.0, 73.0, 74.0, 75.0, 76.0, 77.0, 90.0, 110.0))
    told = generalised([masses], [""] * 10, 3, 0.5)
    assert told.values["mass"] == [70.0] * 5 + [None] * 5
    assert (told.suppressed, told.untold, told.after) == ({"mass": 5}, 5, 5)
    alone = Attribute("mass", (5.0, 10.0), (70.0, 71.0, 72.0, 73.0, 110.0))
    assert generalised([alone], [""] * 5, 2, 0.2).values["mass"] == [None] * 5


def test_attributes_are_counted_together_and_with_the_laboratory() -> None:
    """Each value alone is shared by four; together with the other by two, and with the laboratory by one."""
    sex = Attribute("sex", (), ("f", "f", "f", "f", "m", "m", "m", "m"))
    foot = Attribute("footwear", (), ("a", "a", "b", "b", "a", "a", "b", "b"))
    together = generalised([sex, foot], [""] * 8, 4, 0.0)
    assert together.before == 2
    assert sorted(values == [None] * 8 for values in together.values.values()) == [False, True]
    apart = generalised([sex, foot], ["x", "y"] * 4, 4, 0.0)
    assert (apart.before, apart.after, apart.untold) == (1, 4, 8)
    assert all(values == [None] * 8 for values in apart.values.values())


def test_a_value_on_a_border_belongs_to_the_band_above_it() -> None:
    assert [lower_end(v, 0.05) for v in (1.85, 1.8499, 1.80, 0.1 + 0.2)] == [1.85, 1.8, 1.8, 0.3]
    assert lower_end(None, 0.05) is None
    assert lower_end(float("nan"), 0.05) is None


@given(
    st.lists(
        st.tuples(
            st.one_of(st.none(), st.integers(1930, 2005)),
            st.sampled_from(["female", "male", "other"]),
            st.floats(1.4, 2.1),
            st.sampled_from(["brack", "corrie"]),
        ),
        min_size=1,
        max_size=40,
    ),
    st.integers(1, 6),
    st.sampled_from([0.0, 0.1, 0.5]),
)
def test_whatever_the_runners_what_is_told_is_told_of_k_of_them(
    runners: list[tuple[int | None, str, float, str]], k: int, most: float
) -> None:
    years, sexes, statures, sites = zip(*runners, strict=True)
    attributes = [
        Attribute("birth_year", (10.0, 20.0), years),
        Attribute("sex", (), sexes),
        Attribute("stature", (0.05, 0.1, 0.2), statures),
    ]
    told = generalised(attributes, list(sites), k, most)
    rows = list(zip(*told.values.values(), sites, strict=True))
    counts = Counter(rows)
    ran_at = Counter(sites)
    assert all(counts[row] >= k for row in rows if any(v is not None for v in row[:-1]))
    assert all(counts[row] >= min(k, ran_at[row[-1]]) for row in rows)
    assert told.after == min(counts.values())
    assert told.small == sum(n for n in counts.values() if n < told.k)
    assert told.after_told == 0 or told.after_told >= told.k
    assert told.untold == sum(all(v is None for v in row[:-1]) for row in rows)
    for one in attributes:
        for was, now in zip(one.values, told.values[one.name], strict=True):
            level = told.levels[one.name]
            assert now is None or now == (lower_end(was, level) if one.bands and level else was)


def test_the_smallest_group_of_nobody_is_of_none() -> None:
    assert smallest_group([]) == 0
