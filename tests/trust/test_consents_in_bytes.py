"""Random consent histories the whole way: Parquet, warehouse, pages, ledger, raw store and release, byte by byte."""

from __future__ import annotations

from pathlib import Path

from tests.trust.consents_in_bytes import RUNNERS_EACH, search


def test_no_byte_of_the_depot_or_of_a_release_holds_what_nobody_consented_to(tmp_path: Path) -> None:
    done = search(tmp_path, deliveries=2, seed=11, withdrawals=1)
    assert done.leaks == ()
    assert done.histories == 2 * RUNNERS_EACH
    assert 4 <= done.kept <= 2 * RUNNERS_EACH - 4, "both answers are common"
    assert done.withdrawn == 1
