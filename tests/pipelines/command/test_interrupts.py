"""An interruption is heard wherever it falls, also where Python drops what is raised."""

from __future__ import annotations

import os
import signal
import time
import weakref

import pytest

from pipelines.command.interrupts import heard


class Thing:
    """Something that goes away."""


@pytest.mark.parametrize("word", [signal.SIGTERM, signal.SIGINT])
def test_an_interruption_that_falls_into_a_callback_of_the_garbage_collection_comes_again(word: signal.Signals) -> None:
    things = [Thing()]
    kept = weakref.ref(things[0], lambda _: os.kill(os.getpid(), word))

    def work() -> None:
        things.clear()  # what the signal raises in the callback is dropped by Python
        for _ in range(100):
            time.sleep(0.05)

    term = signal.getsignal(signal.SIGTERM)
    before = signal.signal(signal.SIGINT, signal.default_int_handler)  # which processes of pytest-xdist ignore
    try:
        with pytest.raises(KeyboardInterrupt), heard():
            work()
    finally:
        signal.signal(signal.SIGINT, before)
    assert kept() is None
    assert signal.getsignal(signal.SIGTERM) is term


def test_other_faults_that_python_drops_are_still_printed(capsys: pytest.CaptureFixture[str]) -> None:
    thing = Thing()

    def broken(_: object) -> None:
        raise ValueError("lost")

    kept = weakref.ref(thing, broken)
    with heard():
        del thing
    assert kept() is None
    assert "ValueError: lost" in capsys.readouterr().err
