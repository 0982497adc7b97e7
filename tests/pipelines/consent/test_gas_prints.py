"""Prints of breathing gas: the same samples are known again, no two runners share one."""

from __future__ import annotations

import csv
import io
import zipfile
from collections import defaultdict
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from pipelines.identity.gas_prints import SAMPLES, prints, to_keep
from tests.delivery_builders import REPO

INBOX = REPO / "demo_site_uploads" / "inbox"


def demo_breaths() -> list[dict[str, str]]:
    texts = [p.read_text(encoding="utf-8") for p in INBOX.rglob("breaths.csv")]
    for path in INBOX.rglob("*.zip"):
        with zipfile.ZipFile(path) as archive:
            texts += [archive.read(n).decode() for n in archive.namelist() if Path(n).name == "breaths.csv"]
    return [row for text in texts for row in csv.DictReader(io.StringIO(text))]


def test_among_all_bouts_of_the_demonstration_no_two_runners_share_a_print() -> None:
    owners = defaultdict(set)
    for session, bouts in prints(demo_breaths()).items():
        for print_ in (one for bout in bouts for one in bout):
            owners[print_].add(session.rpartition("-w")[0])
    assert len({runner for own in owners.values() for runner in own}) > 15
    assert len(owners) > 1000
    assert [own for own in owners.values() if len(own) > 1] == []


def rows(samples: list[tuple[int, int]], session: str = "S", step: int = 15, add: float = 0.0) -> list[dict[str, str]]:
    names = (
        "session_id",
        "condition",
        "bout",
        "elapsed_s",
        "oxygen_uptake_ml_per_min",
        "carbon_dioxide_output_ml_per_min",
    )
    return [
        dict(zip(names, (session, "c", "1", str(i * step), str(a + add), str(b)), strict=True))
        for i, (a, b) in enumerate(samples)
    ]


SAMPLE = st.tuples(st.integers(300, 4000), st.integers(300, 4000))


@given(st.lists(SAMPLE, min_size=12, max_size=40), st.integers(0, 20), st.integers(8, 12))
def test_a_stretch_of_the_same_samples_is_known_again_under_any_code_time_and_order(
    samples: list[tuple[int, int]], begin: int, length: int
) -> None:
    kept = to_keep(prints(rows(samples))["S"][0])
    begin = min(begin, len(samples) - length)
    stretch = rows(samples[begin : begin + length], "another", step=7)
    again = prints(reversed(stretch))["another"][0]
    assert kept & set(again)


def test_fewer_samples_than_a_print_needs_give_none() -> None:
    assert prints(rows([(1000, 900)] * (SAMPLES - 1)))["S"] == [[]]
    assert to_keep([]) == set()
    assert prints([{"session_id": "S", "elapsed_s": "x", "oxygen_uptake_ml_per_min": ""}]) == {}
