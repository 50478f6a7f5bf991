"""What holds for every test: options, no waiting, and how random cases are drawn."""

import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

CHECKOUT = Path(__file__).resolve().parent.parent
OUR_FOLDERS = tuple(str(CHECKOUT / name) for name in ("daemon", "drivers", "tests"))

# "ci" draws the same cases each time, so that a red run can be had again; "long" draws
# new ones. Both print the line that reproduces a failure.
settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True)
settings.register_profile("long", deadline=None, max_examples=2_000, print_blob=True)
settings.load_profile("ci")


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the project's own options."""
    group = parser.getgroup("linetender")
    group.addoption(
        "--hardware", action="store_true", help="also run the tests that need real devices"
    )
    group.addoption(
        "--update-golden",
        action="store_true",
        help="write golden transcripts anew instead of comparing; the commit says why",
    )


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Skip what needs real devices, visibly, unless they are said to be there."""
    if config.getoption("--hardware"):
        return
    skip = pytest.mark.skip(reason="needs real devices: run with --hardware")
    for item in items:
        if item.get_closest_marker("hardware"):
            item.add_marker(skip)


@pytest.fixture
def update_golden(request: pytest.FixtureRequest) -> bool:
    """Whether golden transcripts are to be written anew."""
    return bool(request.config.getoption("--update-golden"))


@pytest.fixture(autouse=True)
def _no_waiting(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Make `time.sleep` fail when a test, or our code on the test's thread, calls it.

    Threads may sleep, and so may libraries: `Popen.wait` with a timeout polls by it.
    """
    if request.node.get_closest_marker("hardware"):
        yield
        return
    really_sleep = time.sleep

    def sleep(seconds: float) -> None:
        caller = sys._getframe(1).f_code.co_filename
        on_test_thread = threading.current_thread() is threading.main_thread()
        if on_test_thread and caller.startswith(OUR_FOLDERS):
            pytest.fail(f"{caller} sleeps for {seconds} s: tests inject a clock", pytrace=True)
        really_sleep(seconds)

    monkeypatch.setattr(time, "sleep", sleep)
    yield
