"""The web page for one depot: when it is ended, nothing that it started is left."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time

import pytest

from pipelines.assets.serve import HOST, end_group, refuse_port
from pipelines.errors import Unusable

_STUBBORN = "import signal, sys, time\nfor word in map(int, sys.argv[1:]): signal.signal(word, signal.SIG_IGN)\nprint(flush=True)\ntime.sleep(60)"
_LEADER = """
import subprocess, sys, time
child = subprocess.Popen([sys.executable, "-c", sys.argv[1], *sys.argv[2:]], stdout=subprocess.PIPE)
child.stdout.readline()
print(child.pid, flush=True)
time.sleep(60)
"""


@pytest.mark.parametrize("ignored", [(), (signal.SIGINT,), (signal.SIGINT, signal.SIGTERM)], ids=["none", "one", "two"])
def test_a_child_that_does_not_listen_is_ended_too(ignored: tuple[int, ...]) -> None:
    words = [sys.executable, "-c", _LEADER, _STUBBORN, *(str(int(word)) for word in ignored)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, start_new_session=True) as leader:
        assert leader.stdout is not None
        child = int(leader.stdout.readline())
        end_group(leader, (0.3, 0.3, 5.0))
        assert leader.returncode is not None
    for _ in range(100):
        try:
            os.kill(child, 0)
        except ProcessLookupError:
            return
        time.sleep(0.05)
    pytest.fail("the child is still there")


def test_a_port_that_another_program_has_is_refused_with_what_to_do() -> None:
    with socket.create_server((HOST, 0)) as other:
        port = other.getsockname()[1]
        with pytest.raises(Unusable, match=f"Port {port} of this machine cannot be had.*--port"):
            refuse_port(port)
    refuse_port(port)


def test_one_that_has_ended_already_is_no_fault() -> None:
    leader = subprocess.Popen([sys.executable, "-c", ""], start_new_session=True)
    leader.wait()
    end_group(leader)
    assert leader.returncode == 0
