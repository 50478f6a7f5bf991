"""The guard against waiting in tests is itself tested."""

import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import pytest


def test_a_test_that_sleeps_fails() -> None:
    with pytest.raises(pytest.fail.Exception, match="tests inject a clock"):
        time.sleep(0.001)


def test_a_thread_may_sleep() -> None:
    with ThreadPoolExecutor(max_workers=1) as pool:
        assert pool.submit(time.sleep, 0.001).result() is None
        assert pool.submit(lambda: time.sleep(0.001)).result() is None


def test_a_library_may_poll_by_sleeping() -> None:
    with subprocess.Popen([sys.executable, "-c", "pass"]) as child:
        assert child.wait(timeout=30) == 0
