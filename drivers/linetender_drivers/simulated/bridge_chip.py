"""A simulated bridge sensor (MS4525DO, HSC, SSC): always measuring, read without a command.

Not simulated: the programming mode, sleeping parts, and start-up (a few ms).
"""

from collections.abc import Callable

from linetender_drivers.pressure.bridge_decode import (
    FULL_COUNTS,
    TEMPERATURE_COUNTS,
    TEMPERATURE_LOW_C,
    TEMPERATURE_SPAN_C,
    BridgeRange,
    Status,
)

CONVERSION_NS = 1_000_000
"""Between two measurements (data sheets: 0.5 to 3 ms)."""


class BridgeChip:
    """The chip; implements `i2c_bus.SimulatedChip`.

    Args:
        pressure_range: Which counts it gives for which pressure.

    Attributes:
        pressure_pa: Differential pressure (Pa) at a time (ns). Set it at will.
        temperature_c: Temperature (°C) of the chip at a time (ns).
        has_fault: Whether its self-test has found a broken bridge.
        has_stopped: Whether it repeats its last measurement for ever.
    """

    def __init__(self, pressure_range: BridgeRange) -> None:
        self.pressure_pa: Callable[[int], float] = lambda _: 0.0
        self.temperature_c: Callable[[int], float] = lambda _: 25.0
        self.has_fault = False
        self.has_stopped = False
        self._range = pressure_range
        self._last_read = -1

    def write(self, data: bytes, now_ns: int) -> None:
        """Take bytes and ignore them, as the chip does while it measures."""

    def read(self, length: int, now_ns: int) -> bytes:
        """Give the present measurement, followed by 0xFF if more is read."""
        present = self._last_read if self.has_stopped else now_ns // CONVERSION_NS
        status = Status.STALE if present == self._last_read else Status.NORMAL
        self._last_read = present
        if self.has_fault:
            status = Status.FAULT
        at_ns = present * CONVERSION_NS
        span_pa = self._range.high_pa - self._range.low_pa
        part = (self.pressure_pa(at_ns) - self._range.low_pa) / span_pa
        span_counts = self._range.high_counts - self._range.low_counts
        pressure = _clamped(self._range.low_counts + part * span_counts, FULL_COUNTS)
        celsius = (self.temperature_c(at_ns) - TEMPERATURE_LOW_C) / TEMPERATURE_SPAN_C
        temperature = _clamped(celsius * TEMPERATURE_COUNTS, TEMPERATURE_COUNTS)
        word = status << 30 | pressure << 16 | temperature << 5
        return word.to_bytes(4, "big")[:length].ljust(length, b"\xff")


def _clamped(counts: float, full: int) -> int:
    return max(0, min(full, round(counts)))
