"""Nothing is divided by what goes back: a muscle reference counts only while its own recording is accepted."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from demo_site_uploads.simulator.c3d_edit import parameter, with_parameter
from demo_site_uploads.simulator.delivery import Delivery, PlannedTrial, Session
from demo_site_uploads.simulator.measure import Asked
from tests.delivery_builders import tables, take_in_only

SESSION = Session("FS-01", "week_0", "brack")
FIRST_MUSCLE = 6  # channels of the plate come first


def _thousandfold(content: bytes) -> bytes:
    """The muscles' scale a thousand times too large, as if the export had millivolts for volts."""
    scales = list(parameter(content, "ANALOG", "SCALE"))
    return with_parameter(
        content, "ANALOG", "SCALE", [s * (1000 if i >= FIRST_MUSCLE else 1) for i, s in enumerate(scales)]
    )


def _taken_in(folder: Path, *, spoiled: bool) -> dict[str, Any]:
    trials = (
        PlannedTrial(SESSION, "cushioned", "standing", Asked("standing")),
        PlannedTrial(SESSION, "unshod", "standing", Asked("standing")),
        PlannedTrial(SESSION, "cushioned", "1", Asked(), bytes_fault=_thousandfold if spoiled else None),
        PlannedTrial(SESSION, "unshod", "1", Asked()),
    )
    Delivery("brack", "brack-001", "brack", 1, trials).pack(folder / "inbox", folder / "work")
    take_in_only(folder / "inbox", folder / "depot")
    (own,) = tables(folder / "depot").values()
    return own


@pytest.mark.parametrize("spoiled", [False, True])
def test_a_returned_recording_gives_no_reference(tmp_path: Path, spoiled: bool) -> None:
    own = _taken_in(tmp_path, spoiled=spoiled)
    standing = {row["trial_id"].removeprefix("FS-01-w0-brack-"): row["standing"] for row in own["standings"]}
    assert standing["unshod-1"] == "accepted"
    assert standing["cushioned-1"] == ("returned" if spoiled else "accepted")
    unshod = [row for row in own["muscle_amplitudes"] if "unshod" in row["trial_id"]]
    assert unshod
    if spoiled:
        assert own["muscle_references"] == []
        assert all(row["reference_uv"] is None and row["amplitude_fraction"] is None for row in unshod)
        assert all(row["amplitude_uv"] is not None for row in unshod)
    else:
        assert all(row["reference_uv"] > 0 for row in unshod)
