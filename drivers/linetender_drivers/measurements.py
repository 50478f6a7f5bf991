"""What a driver gives: one value of one signal, or the reason why there is none."""

import msgspec


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


class ContactChange(msgspec.Struct, frozen=True, gc=False):
    """A switch after debouncing.

    Attributes:
        contact: Its role, e.g. `answer`.
        state: `open`, `closed`, or `broken` (both or neither wire of a change-over
            switch closed for more than 0.5 s).
    """

    contact: str
    state: str
