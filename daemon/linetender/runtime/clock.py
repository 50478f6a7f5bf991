"""Time as the live process sees it."""

import asyncio
import time
from datetime import datetime
from pathlib import Path
from typing import Protocol

from linetender.annunciation.payloads import Wall
from linetender_drivers.contracts import Clock

_SYNCHRONISED_MARK = Path("/run/systemd/timesync/synchronized")


class StationClock(Clock, Protocol):
    """Watch time, and a way to wait for an instant of it."""

    async def sleep_until_ns(self, instant_ns: int) -> None:
        """Wait until an instant of Watch time; let others run at least once."""


class MonotonicClock:
    """The computer's monotonic clock, counted from the start of the daemon.

    The wall clock may jump as it likes: nothing here looks at it.
    """

    def __init__(self) -> None:
        self._origin_ns = time.monotonic_ns()

    def now_ns(self) -> int:
        """Return Watch time: ns since this clock was made."""
        return time.monotonic_ns() - self._origin_ns

    async def sleep(self, seconds: float) -> None:
        """Wait for a duration (s)."""
        await asyncio.sleep(seconds)

    async def sleep_until_ns(self, instant_ns: int) -> None:
        """Wait until an instant of Watch time, to about a millisecond; let others run."""
        await asyncio.sleep(max(0, instant_ns - self.now_ns()) / 1e9)


class WallClock(Protocol):
    """The time of day, for people only."""

    def __call__(self) -> Wall:
        """Return it, and whether it is known to be right."""


def read_wall_clock() -> Wall:
    """Return the local time of day with its offset, and whether it has been synchronised.

    Raspberry Pi boards have no clock of their own: after a power cut the time is
    wrong until the network has set it, which the time service marks by a file.
    """
    at = datetime.now().astimezone().isoformat(timespec="milliseconds")
    return Wall(at, _SYNCHRONISED_MARK.exists())


def demo_wall_clock() -> Wall:
    """Return the fixed, invented time of a demo, so that two runs give the same bytes."""
    return Wall("2000-01-01T00:00:00.000+00:00", False)
