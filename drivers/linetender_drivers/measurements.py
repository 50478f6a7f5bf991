"""What a driver gives: one value of one signal, or the reason why there is none."""

import msgspec

from linetender_drivers.errors import FailureReason


class Measurement(msgspec.Struct, frozen=True, gc=False):
    """One value as measured.

    Attributes:
        signal: Name of the quantity with its unit, e.g. `duct_pressure_pa`.
        value: A finite number in that unit, or None.
        reason: Why there is no number; exactly one of value and reason is given.
        doubt: Why a number that is there may not be relied on.
        device_time: The device's own clock (s), where it has one.
    """

    signal: str
    value: float | None = None
    reason: str | None = None
    doubt: str | None = None
    device_time: float | None = None


def within(signal: str, value: float, low: float, high: float) -> Measurement:
    """Return a measurement of a value that the device can measure, else one without value.

    Args:
        signal: Name of the quantity with its unit.
        value: In that unit.
        low: Least value the device measures; the same unit.
        high: Greatest value the device measures; the same unit.
    """
    if low <= value <= high:
        return Measurement(signal, value)
    return Measurement(signal, reason=FailureReason.OUT_OF_RANGE)


class ContactChange(msgspec.Struct, frozen=True, gc=False):
    """A switch after debouncing.

    Attributes:
        contact: Its role, e.g. `answer`.
        state: `open`, `closed`, or `broken` (both or neither wire of a change-over
            switch closed for more than 0.5 s).
    """

    contact: str
    state: str
