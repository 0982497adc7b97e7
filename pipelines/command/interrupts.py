"""Interruptions that are not lost: by Ctrl-C, or by a service manager (SIGTERM), which is treated alike."""

from __future__ import annotations

import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

#: How long after an interruption was lost it is sent again, in seconds: long enough for the callback to have ended.
_AGAIN_S = 0.05


@contextmanager
def heard() -> Iterator[None]:
    """SIGTERM interrupts like Ctrl-C, and an interruption that falls into a place where Python drops it comes again.

    Python cannot raise out of the callbacks of its garbage collection: what is raised there is printed and forgotten,
    and the command would go on as if nobody had asked it to stop.
    """
    before, hook = signal.signal(signal.SIGTERM, signal.default_int_handler), sys.unraisablehook
    sys.unraisablehook = _sent_again
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
        sys.unraisablehook = hook


def _sent_again(lost: sys.UnraisableHookArgs) -> None:
    if not _is_interruption(lost.exc_type):
        sys.__unraisablehook__(lost)
        return
    again = threading.Timer(_AGAIN_S, signal.raise_signal, [signal.SIGTERM])  # Ctrl-C may be ignored here
    again.daemon = True
    again.start()


def _is_interruption(kind: type[BaseException]) -> bool:
    """Python's own, or what Dagster makes of it; by name, since Dagster may not be imported."""
    return issubclass(kind, KeyboardInterrupt) or kind.__name__ == "DagsterExecutionInterruptedError"
