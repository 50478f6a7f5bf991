"""An oximeter in use: frames that can be told apart, and someone who reads for ever."""

import asyncio
import contextlib
import struct
from typing import Any

from bluez.peripheral import CONTINUOUS, Peripheral
from bluez.room import Room
from linetender_drivers.contracts import Sensor
from linetender_drivers.errors import DriverError
from linetender_drivers.measurements import Measurement
from linetender_drivers.oximeter.plx import open_oximeter
from linetender_drivers.oximeter.plx_spec import PlxOptions

INTERVAL_S = 0.01
RETRY_S = 0.02
SIGNALS = ("spo2_percent", "pulse_rate_bpm")


def frame(number: int) -> bytes:
    """Return a plausible continuous measurement that carries a number below 20 000."""
    return struct.pack("<BHH", 0, 1 + number % 100, 20 + number // 100)


def number_of(measured: tuple[Measurement, ...]) -> int:
    """Return the number that a frame carried."""
    spo2, pulse = (one.value for one in measured)
    assert spo2 is not None
    assert pulse is not None
    return round(pulse - 20) * 100 + round(spo2 - 1)


class WornOximeter:
    """Sends numbered frames while it talks, and is read as a supervisor reads.

    Args:
        room: Where it is.
        peripheral: The device.

    Attributes:
        is_talking: Whether it sends.
        sent: Number of the frame sent last.
        got: Numbers of the frames received, in order.
        failures: What went wrong meanwhile, in order.
    """

    def __init__(self, room: Room, peripheral: Peripheral) -> None:
        self.is_talking = True
        self.sent = -1
        self.got: list[int] = []
        self.failures: list[DriverError] = []
        self._room = room
        self._peripheral = peripheral
        self._tasks: list[asyncio.Task[Any]] = []

    async def __aenter__(self) -> "WornOximeter":
        options = PlxOptions(address=self._peripheral.address)
        machine: Any = self._room.machine
        sensor = open_oximeter("finger", options, machine, SIGNALS)
        self._tasks = [
            asyncio.ensure_future(self._send()),
            asyncio.ensure_future(self._keep(sensor)),
        ]
        return self

    async def __aexit__(self, *_: object) -> None:
        for task in self._tasks:
            task.cancel()
        for task in self._tasks:
            with contextlib.suppress(asyncio.CancelledError):
                await task

    async def _send(self) -> None:
        while True:
            if self.is_talking:
                self.sent += 1
                self._room.bluez.notify(self._peripheral, CONTINUOUS, frame(self.sent))
            await asyncio.sleep(INTERVAL_S)

    async def _keep(self, sensor: Sensor) -> None:
        try:
            while True:
                try:
                    await sensor.open()
                    while True:
                        self.got.append(number_of(await sensor.read()))
                except DriverError as error:
                    self.failures.append(error)
                await sensor.close()
                await asyncio.sleep(RETRY_S)
        finally:
            await sensor.close()
