"""What a command prints goes to somebody who may stop listening: what is lost of it must not end the work.

A reader such as ``head`` shuts its end of the pipe when it has seen enough. Everything printed after that goes nowhere,
the work goes on, and the exit code says how it ended.
"""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Iterable
from typing import TextIO


class Unbroken(io.TextIOBase):
    """A text stream over another one that goes nowhere once nobody reads that any more."""

    def __init__(self, stream: TextIO) -> None:
        super().__init__()
        self._stream = stream

    def write(self, text: str, /) -> int:
        """As the stream does."""
        try:
            return self._stream.write(text)
        except BrokenPipeError:
            self._let_go()
            return len(text)

    def writelines(self, lines: Iterable[str], /) -> None:  # type: ignore[override]
        """As the stream does."""
        for line in lines:
            self.write(line)

    def flush(self) -> None:
        """As the stream does."""
        try:
            self._stream.flush()
        except BrokenPipeError:
            self._let_go()

    def fileno(self) -> int:
        """Of the stream."""
        return self._stream.fileno()

    def isatty(self) -> bool:
        """Of the stream."""
        return self._stream.isatty()

    def writable(self) -> bool:
        """Always."""
        return True

    @property
    def encoding(self) -> str:  # type: ignore[override]
        """Of the stream."""
        return self._stream.encoding

    @property
    def errors(self) -> str | None:  # type: ignore[override]
        """Of the stream."""
        return self._stream.errors

    @property
    def buffer(self) -> io.BufferedWriter:
        """Of the stream."""
        return self._stream.buffer  # type: ignore[return-value]

    def _let_go(self) -> None:
        """Let what is printed from now on, and what waits to be, go nowhere."""
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, self._stream.fileno())
        os.close(nowhere)


def guard() -> None:
    """Let standard output and error be such streams, and show letters a console does not know as their escapes."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
            setattr(sys, name, Unbroken(stream))
