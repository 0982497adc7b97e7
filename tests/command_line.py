"""The ``manystrides`` command carried out in this process: its exit code and what it printed.

The same entry and the same streams as of the installed program, without a new Python and its libraries for each
question. Where the process itself is what is looked at (its start, its pipes, its limits) tests start the program.
"""

from __future__ import annotations

import contextlib
import io
import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from subprocess import CompletedProcess
from typing import Any
from unittest import mock

from pipelines.command.main import main

REPO = Path(__file__).resolve().parents[1]
PROGRAM = Path(sys.executable).with_name("manystrides")


def command(*words: str | Path, cwd: Path | None = None, env: Mapping[str, str] | None = None) -> CompletedProcess[str]:
    """``manystrides WORDS`` at ``cwd`` (else at the top of the repository), with nobody at the keyboard."""
    asked = [str(PROGRAM), *map(str, words)]
    out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8", write_through=True) for _ in range(2))
    with (
        contextlib.chdir(cwd or REPO),
        mock.patch.dict(os.environ, env or {}),
        mock.patch.multiple(sys, argv=asked, stdin=io.StringIO(), stdout=out, stderr=err),
    ):
        try:
            main()
            code = 0
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else int(end.code is not None)
    said, told = (stream.buffer.getvalue().decode("utf-8") for stream in (out, err))  # type: ignore[attr-defined]
    return CompletedProcess(asked, code, said, told)


def program(*words: str | Path, **more: Any) -> CompletedProcess[str]:
    """The same by the installed program, in a process of its own. more: of ``subprocess.run``."""
    asked = [str(PROGRAM), *map(str, words)]
    how = {"capture_output": True, "text": True, "check": False, "cwd": REPO, "stdin": subprocess.DEVNULL}
    return subprocess.run(asked, **how | more)
