"""A process that reads an oximeter until it is told to end: `ADDRESS` is its argument.

It prints "up" once a value has come.
"""

import asyncio
import contextlib
import signal
import sys
import time

from linetender_drivers.buses.machine import RealMachine
from linetender_drivers.oximeter.plx import open_oximeter
from linetender_drivers.oximeter.plx_spec import PlxOptions


class MonotonicClock:
    """As much of a clock as is asked for."""

    def now_ns(self) -> int:
        """Return the monotonic time, ns."""
        return time.monotonic_ns()

    async def sleep(self, seconds: float) -> None:
        """Wait."""
        await asyncio.sleep(seconds)


async def read_for_ever(address: str) -> None:
    """Read until cancelled."""
    machine = RealMachine(MonotonicClock())
    sensor = open_oximeter("finger", PlxOptions(address=address), machine, ("spo2_percent",))
    await sensor.open()
    try:
        while True:
            await sensor.read()
            sys.stdout.write("up\n")
            sys.stdout.flush()
    finally:
        await sensor.close()


async def until_told(address: str) -> None:
    """Read until SIGTERM."""
    reading = asyncio.ensure_future(read_for_ever(address))
    asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, reading.cancel)
    with contextlib.suppress(asyncio.CancelledError):
        await reading


if __name__ == "__main__":
    asyncio.run(until_told(sys.argv[1]))
