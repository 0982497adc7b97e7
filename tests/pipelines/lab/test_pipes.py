"""A pipe under the name of a recording is refused before it is opened: nobody would ever write into it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from pipelines.errors import Unusable
from pipelines.lab.look import look


def test_a_pipe_is_refused_before_it_is_opened(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "trial.c3d")
    with pytest.raises(Unusable, match="no regular file"):
        look(tmp_path / "trial.c3d")
