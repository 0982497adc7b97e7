"""Whatever reads or rewrites a delivered table sees the same rows."""

from __future__ import annotations

import csv
import hashlib
import tempfile
from pathlib import Path

from hypothesis import example, given
from hypothesis import strategies as st

from pipelines.consent.redaction import Unsure, redact, rows_of_table
from pipelines.intake.csv_records import Role, records
from pipelines.intake.tables import read_tables

HEADER = "session_id,participant_id,visit,study_day,mass_kg,surface,set_speed_m_per_s"
ROWS = ("S1,FS-01,week_0,0,58.4,treadmill,3.0", "S2,FS-02,week_0,0,61.0,treadmill,3.0")
LEAVES = "FS-01"
_FILL = st.sampled_from(["", ",,,,,,", "sep=,", " , ,,,,,", "  ", "S3,FS-03", "S4,FS-01,week_0,0,1.5,treadmill,3.0,x"])
_END = st.sampled_from(["\n", "\r\n", "\r"])
_CHARACTER = st.sampled_from(["", "\x0c", "\u2028", "\x85", "\x1c", "\v", " "])


@st.composite
def tables(draw: st.DrawFn) -> str:
    """A table of sessions as spreadsheets and people leave it."""
    lines = [*draw(st.lists(_FILL, max_size=2)), HEADER + draw(st.sampled_from(["", ",,", " "]))]
    for row in ROWS:
        own = row.replace("treadmill", f'"tread{draw(_CHARACTER)}mill"').replace("week_0", draw(_CHARACTER) + "week_0")
        lines += [own + draw(st.sampled_from(["", ","])), *draw(st.lists(_FILL, max_size=2))]
    return draw(st.sampled_from(["", "\ufeff"])) + "".join(line + draw(_END) for line in lines)


@given(st.text(st.sampled_from('a,"\n\r\x0c\u2028; '), max_size=40))
def test_the_texts_of_the_records_are_the_text(text: str) -> None:
    try:
        found = list(records(text))
    except csv.Error:
        return
    assert "".join(record.text for record in found) == text
    if '"' not in text:
        lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
        kept = [record.line for record in found if record.role is not Role.EMPTY]
        assert kept == [number for number, line in enumerate(lines, 1) if line]


@given(tables())
@example(f"\n{HEADER}\n{ROWS[0]}\n")
@example(f"sep=,\n{HEADER}\n{ROWS[0]}\n")
@example(f",,,,,,\n{HEADER}\n{ROWS[0]}\n")
def test_what_intake_reads_is_what_is_taken_out_and_all_other_bytes_stay(text: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        bag = Path(folder)
        path = bag / "data" / "sessions.csv"
        path.parent.mkdir()
        path.write_bytes(text.encode())
        read = read_tables(path.parent).frames["sent_sessions"]["participant_id"]
        whole = [row["participant_id"] for row in rows_of_table(path) if not isinstance(row, Unsure)]
        assert read.dropna().tolist() == whole
        redact(bag, lambda runner: {"all"} if runner == LEAVES else set())
        if not path.exists():
            assert read.dropna().empty
            return
        assert LEAVES.encode() not in path.read_bytes()
        lines = text.encode().splitlines(keepends=True)  # bytes break at the line ends of CSV only
        kept = [line for line in lines if LEAVES.encode() not in line]
        mark = b"\xef\xbb\xbf"
        assert path.read_bytes() == mark * text.startswith("\ufeff") + b"".join(kept).removeprefix(mark)


def test_a_table_that_intake_does_not_read_goes_as_a_whole(tmp_path: Path) -> None:
    path = tmp_path / "data" / "sessions.csv"
    path.parent.mkdir()
    path.write_text(f'{HEADER}\n{ROWS[0]}\nS2,"FS-02\n')
    listed = f"{hashlib.sha256(path.read_bytes()).hexdigest()}  data/sessions.csv\n"
    (tmp_path / "manifest-sha256.txt").write_text(listed)
    assert redact(tmp_path, lambda _: set()) == ["sessions.csv"]
    assert not path.exists()
    assert (tmp_path / "manifest-sha256.txt").read_text().strip() == ""
