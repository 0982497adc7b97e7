"""The log: one logger for each module, a file in the depot, and lines on standard error for whoever asks for them.

A line is a fixed sentence and facts. Nobody can be told from it: a text is written only under a name in ``_WORDS``,
whose values are words of the study or of the program, never a runner, a trial, a file or anything a delivery says. Of
an exception its type and where it was raised are written, never its message. Anything else is kept back; numbers are
written as they are. What may be shown of a delivery to people is in its tables and pages, not here.
"""

from __future__ import annotations

import json
import logging
import re
import sys
import time
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from logging.handlers import RotatingFileHandler
from pathlib import Path
from typing import Any

from pipelines.errors import Unusable

FOLDER, NAME = "log", "manystrides.jsonl"
_PACKAGES = ("schemas", "checks", "pipelines")
_MOST_BYTES, _KEPT_FILES = 1_000_000, 5  # own choice: some ten thousand lines, a year of a small study
_MOST_WAITING = 1000
#: Facts that may be words. A delivery is named only by site and number, since its folder may be named after anybody.
_WORDS = frozenset({"command", "site", "check", "status", "problem", "table", "stage", "scope"})
_WORD = re.compile(r"[A-Za-z][A-Za-z0-9_. -]{0,63}")
_DELIVERY = re.compile(r"[a-z][a-z0-9_]*-[0-9]{3,9}")
KEPT_BACK = "(kept back)"

Fact = str | int | float | bool | None


def facts(**told: Fact) -> dict[str, dict[str, Fact]]:
    """``extra=facts(delivery=..., accepted=3)``: what a line tells beside its sentence."""
    return {"facts": {name: _shown(name, value) for name, value in told.items()}}


def _shown(name: str, value: Fact) -> Fact:
    if value is None or isinstance(value, bool | int | float):
        return round(value, 3) if isinstance(value, float) else value
    if name == "delivery":
        found = _DELIVERY.match(value)
        return found[0] if found else "(without number)"
    return str(value) if name in _WORDS and _WORD.fullmatch(value) else KEPT_BACK


@contextmanager
def kept(command: str, depot: Path | None, verbose: bool = False) -> Iterator[None]:
    """Around a command: its lines go to the depot's log (None: there is none) and, if ``verbose``, to standard error.

    A log that cannot be written is told once and stops nothing.
    """
    # without any, Python writes warnings to standard error, exceptions with their messages and all
    handlers: list[logging.Handler] = [logging.NullHandler()]
    if depot is not None:
        handlers.append(_DepotLog(depot))
    if verbose:
        shown = logging.StreamHandler(sys.stderr)
        shown.setFormatter(_Plain())
        handlers.append(shown)
    before = {name: logging.getLogger(name).level for name in _PACKAGES}
    for name in _PACKAGES:
        logger = logging.getLogger(name)
        logger.setLevel(logging.DEBUG if verbose else logging.INFO)
        for handler in handlers:
            logger.addHandler(handler)
    log, started = logging.getLogger(__name__), time.monotonic()
    log.info("A command began.", extra=facts(command=command))
    try:
        yield
    except BaseException as end:
        code = getattr(end, "exit_code", None)  # of a command that says itself how it ended
        if code is not None:
            _ended(log, command, code, started)
        elif isinstance(end, Unusable):
            log.warning("What was given cannot be used.", exc_info=True, extra=facts(command=command))
        else:
            log.exception("The command broke off.", extra=facts(command=command))
        raise
    else:
        _ended(log, command, 0, started)
    finally:
        for name, level in before.items():
            logger = logging.getLogger(name)
            logger.setLevel(level)
            for handler in handlers:
                logger.removeHandler(handler)
        for handler in handlers:
            handler.close()


def _ended(log: logging.Logger, command: str, code: int, started: float) -> None:
    seconds = time.monotonic() - started
    log.info("The command came to its end.", extra=facts(command=command, exit_code=code, seconds=seconds))


def _told(record: logging.LogRecord) -> dict[str, Any]:
    """What is written of a record. Its message is taken as it stands: whatever was to be put into it is kept back."""
    told: dict[str, Any] = {"what": str(record.msg), **getattr(record, "facts", {})}
    if record.exc_info and record.exc_info[0] is not None:
        told["error"] = record.exc_info[0].__name__
        told["raised"] = [_place(frame) for frame in traceback.extract_tb(record.exc_info[2])[-8:]]
    return told


def _place(frame: traceback.FrameSummary) -> str:
    """For example pipelines/judging/judge.py:120; of other code only the name of the file."""
    parts = Path(frame.filename).parts
    start = next((i for i, part in enumerate(parts) if part in _PACKAGES), len(parts) - 1)
    return f"{'/'.join(parts[start:])}:{frame.lineno}"


class _Lines(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        utc = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        return json.dumps({"utc": utc, "level": record.levelname, "where": record.name, **_told(record)})


class _Plain(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        told = _told(record)
        what = told.pop("what")
        rest = ", ".join(f"{name} {value}" for name, value in told.items())
        return f"{record.name}: {what}{f' ({rest})' if rest else ''}"


class _DepotLog(RotatingFileHandler):
    """The file in the depot. What comes before the depot is there waits for it, and is lost if it is never made."""

    def __init__(self, depot: Path) -> None:
        super().__init__(depot / FOLDER / NAME, "a", _MOST_BYTES, _KEPT_FILES, "utf-8", delay=True)
        self.setFormatter(_Lines())
        self._depot = depot
        self._waiting: list[logging.LogRecord] = []
        self._failed = False

    def emit(self, record: logging.LogRecord) -> None:
        if self._failed:
            return
        if not self._depot.is_dir():
            self._waiting = [*self._waiting[-_MOST_WAITING:], record]
            return
        try:
            Path(self.baseFilename).parent.mkdir(mode=0o700, exist_ok=True)
        except OSError:
            self.handleError(record)
            return
        waited, self._waiting = self._waiting, []
        for one in (*waited, record):
            super().emit(one)

    def handleError(self, record: logging.LogRecord) -> None:
        """Say once that the log cannot be written; the work goes on."""
        if not self._failed:
            self._failed = True
            print(f"The log {self.baseFilename} cannot be written; the work goes on without it.", file=sys.stderr)
