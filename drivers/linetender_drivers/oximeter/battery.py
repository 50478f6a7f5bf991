"""The battery of an oximeter: Bluetooth Battery Service, read once a minute.

It is read beside the measurements, so that a slow answer never delays them. It is not
subscribed to: reading what one is subscribed to comes back as a notification too.
"""

import asyncio
from typing import Final

from linetender_drivers.contracts import Clock, NotificationLink
from linetender_drivers.errors import DriverError, FailureReason
from linetender_drivers.measurements import Measurement

BATTERY_LEVEL: Final = "00002a19-0000-1000-8000-00805f9b34fb"
"""One octet, 0 to 100 %. Source: Bluetooth SIG Assigned Numbers, 0x2A19."""

BATTERY: Final = "oximeter_battery_percent"

PERIOD_NS = 60_000_000_000
"""Between readings (chosen: a battery lasts for hours)."""


class BatteryReader:
    """Reads the battery's level from time to time.

    Args:
        link: An open link to the oximeter.
        clock: For the time between readings.
    """

    def __init__(self, link: NotificationLink, clock: Clock) -> None:
        self._link = link
        self._clock = clock
        self._due_ns = clock.now_ns()
        self._reading: asyncio.Task[Measurement] | None = None

    def poll(self) -> tuple[Measurement, ...]:
        """Return the level once it was read; start the next reading when due. Never waits."""
        if self._reading is not None and self._reading.done():
            made = self._reading.result()
            self._reading = None
            return (made,)
        if self._reading is None and self._clock.now_ns() >= self._due_ns:
            self._due_ns = self._clock.now_ns() + PERIOD_NS
            self._reading = asyncio.ensure_future(self._read())
        return ()

    async def close(self) -> None:
        """End a reading that is under way."""
        if self._reading is not None:
            self._reading.cancel()
            await asyncio.wait({self._reading})
            self._reading = None

    async def _read(self) -> Measurement:
        try:
            value = await self._link.value(BATTERY_LEVEL)
        except DriverError as error:
            return Measurement(BATTERY, reason=error.reason.value)
        return battery_measurement(value)


def battery_measurement(value: bytes | None) -> Measurement:
    """Return the level (%) that the octet says, or why there is none."""
    if value is None:
        return Measurement(BATTERY, reason="not_sent")
    if len(value) != 1:
        return Measurement(BATTERY, reason=FailureReason.BAD_FRAME.value)
    if value[0] > 100:
        return Measurement(BATTERY, reason=FailureReason.OUT_OF_RANGE.value)
    return Measurement(BATTERY, float(value[0]))
