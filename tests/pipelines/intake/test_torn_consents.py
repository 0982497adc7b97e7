"""What a consents.csv that is no table says against consent counts, however long it is."""

from __future__ import annotations

import pytest

from pipelines.intake import torn_consents as torn

_HEAD = "participant_id,scope,event,form_version,study_day\n"


def _many(rows: int) -> str:
    return "".join(f"FS-{n % 50:02d},motion,given,1,{n}\n" for n in range(rows))


def test_a_withdrawal_counts_in_a_table_of_more_rows_than_are_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(torn, "MOST_ROWS", 100)
    monkeypatch.setattr(torn, "_MOST_LINES", 100)
    last = "FS-77,motion,withdrawn,1,3\n"
    assert torn.torn_consents((_HEAD + _many(20) + last).encode()) == (), "its rows are read as rows"
    named = {code for code, *_ in torn.torn_consents((_HEAD + _many(300) + last).encode())}
    assert "FS-77" in named
    assert "FS-01" not in named, "a line that plainly gives consent takes nothing away"
