"""The four bytes of a bridge sensor with a ratiometric range: status, pressure,
temperature. Pure. The MS4525DO and the HSC and SSC series share them.

Sources: data sheet of the MS4525DO (status bits, formulas); Linux driver hsc030pa.c
(the same for HSC and SSC).
"""

from enum import IntEnum
from typing import NamedTuple

from linetender_drivers.errors import BadFrame

FRAME_LENGTH = 4

FULL_COUNTS = 0x3FFF
TEMPERATURE_COUNTS = 0x7FF
TEMPERATURE_LOW_C = -50.0
TEMPERATURE_SPAN_C = 200.0

TEMPERATURE_RANGE_C = (-40.0, 125.0)
"""Beyond it a number is no temperature of such a part (widest range of the data sheets,
from memory)."""

MARGIN_OF_SPAN = 0.01
"""So far beyond an end a reading still counts, as the noise at rest of a part whose zero
is the end of its range (chosen)."""


class Status(IntEnum):
    """The two highest bits of a frame."""

    NORMAL = 0
    COMMAND_MODE = 1
    STALE = 2
    """This measurement has been read before."""
    FAULT = 3
    """The chip has found a fault in itself."""


class BridgeFrame(NamedTuple):
    """One measurement.

    Attributes:
        is_stale: Whether it has been read before.
        pressure_counts: 0 to 16383.
        temperature_counts: 0 to 2047.
    """

    is_stale: bool
    pressure_counts: int
    temperature_counts: int

    @property
    def temperature_c(self) -> float:
        """Temperature of the chip, °C."""
        part = self.temperature_counts / TEMPERATURE_COUNTS
        return TEMPERATURE_LOW_C + part * TEMPERATURE_SPAN_C


class BridgeRange(NamedTuple):
    """From counts to pressure.

    Attributes:
        low_counts: At the lower end of the range.
        high_counts: At its upper end.
        low_pa: The lower end, Pa.
        high_pa: The upper end, Pa.
    """

    low_counts: float
    high_counts: float
    low_pa: float
    high_pa: float

    def pressure_pa(self, counts: int) -> float | None:
        """Return the pressure, Pa; None beyond what the part measures."""
        part = (counts - self.low_counts) / (self.high_counts - self.low_counts)
        if not -MARGIN_OF_SPAN <= part <= 1.0 + MARGIN_OF_SPAN:
            return None
        return self.low_pa + part * (self.high_pa - self.low_pa)


def decode_bridge(frame: bytes, device: str) -> BridgeFrame:
    """Decode one measurement.

    Args:
        frame: 4 bytes.
        device: Name for the error.

    Raises:
        BadFrame: wrong length, or the chip says that it has a fault or is being
            programmed.
    """
    if len(frame) != FRAME_LENGTH:
        raise BadFrame(device, f"expected {FRAME_LENGTH} bytes, got {len(frame)}", frame)
    word = int.from_bytes(frame, "big")
    status = Status(word >> 30)
    if status is Status.FAULT:
        raise BadFrame(device, "the chip reports a fault in itself", frame)
    if status is Status.COMMAND_MODE:
        raise BadFrame(device, "the chip is in its programming mode: cut its power", frame)
    return BridgeFrame(status is Status.STALE, (word >> 16) & FULL_COUNTS, (word >> 5) & 0x7FF)
