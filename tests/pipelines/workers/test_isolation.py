import ctypes
import os
import time

import numpy as np
import pytest

from pipelines.intake.c3d.problem import C3dProblem
from pipelines.workers.isolation import Isolated


def twice(number):
    return 2 * number


def read_address_zero(_):
    return ctypes.string_at(0)


def leave_at_once(code):
    os._exit(code)


def sleep(seconds):
    time.sleep(seconds)


def take_mebibytes(mebibytes):
    return int(np.ones(mebibytes * 2**20, np.uint8).sum() > 0)


def threads_after_a_product(_):
    large = np.ones((400, 400))
    large @ large
    return len(os.listdir("/proc/self/task"))


def refuse(sentence):
    raise C3dProblem(sentence)


def divide_by(number):
    return 1 / number


def a_function_that_cannot_be_sent_back(_):
    return lambda: 1


JOBS = {"crash": read_address_zero, "leave": leave_at_once, "sleep": sleep, "twice": twice}


def do(job):
    name, argument = job
    return JOBS[name](argument)


@pytest.fixture(scope="module")
def isolated():
    with Isolated(workers=2, time_limit_s=3, memory_limit_mb=300) as pool:
        yield pool


@pytest.mark.skipif(not os.path.isdir("/proc/self/task"), reason="this system does not tell threads of a process")
def test_a_worker_leaves_the_other_cores_to_the_other_workers(isolated):
    assert isolated.run(threads_after_a_product, None).value == 1


def test_a_value_comes_back(isolated):
    ended = isolated.run(twice, 21)
    assert (ended.value, ended.problem) == (42, None)


@pytest.mark.parametrize(
    ("function", "argument", "problem"),
    [
        (read_address_zero, None, "crashed"),
        (leave_at_once, 0, "too_slow"),  # pebble takes exit code 0 for an orderly end, so only the clock tells
        (leave_at_once, 3, "crashed"),
        (sleep, 30, "too_slow"),
        (take_mebibytes, 2000, "too_large"),
        (refuse, "this is no C3D file", "malformed"),
        (divide_by, 0, "crashed"),
        (a_function_that_cannot_be_sent_back, None, "crashed"),
        (open, "/no/such/file", "missing"),
    ],
    ids=["segfault", "exit_0", "exit_3", "hang", "memory", "refusal", "error", "unpicklable", "missing"],
)
def test_a_job_that_goes_wrong_is_an_answer(isolated, function, argument, problem):
    ended = isolated.run(function, argument)
    assert ended.problem == problem
    assert ended.detail
    assert ended.value is None


def test_memory_within_the_limit_is_given(isolated):
    assert isolated.run(take_mebibytes, 100).value == 1


def test_other_jobs_go_on_beside_a_crash_and_a_hang_and_keep_their_order(isolated):
    jobs = [("twice", 1), ("crash", None), ("twice", 2), ("sleep", 30), ("leave", 1), ("twice", 3), ("twice", 4)]
    ends = list(isolated.map(do, jobs))
    assert [e.value for e in ends] == [2, None, 4, None, None, 6, 8]
    assert [e.problem for e in ends] == [None, "crashed", None, "too_slow", "crashed", None, None]


def test_leaving_the_pool_does_not_wait_for_a_hanging_job():
    started = time.monotonic()
    with Isolated(workers=1, time_limit_s=60, memory_limit_mb=300) as pool:
        assert pool.run(twice, 1).value == 2
        pool.schedule(sleep, 60)
        time.sleep(0.5)  # let it begin
    assert time.monotonic() - started < 20
