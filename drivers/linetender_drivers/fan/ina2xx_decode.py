"""INA219 and INA226 current and voltage sensors: registers to volts and amperes. Pure.

Sources: steps, shifts, averages and times of the Linux driver hwmon/ina2xx.c; the reset
value of the INA226 (0x4127), its identifiers and the limits from memory of the data
sheets.
"""

from typing import NamedTuple

from linetender_drivers.errors import BadFrame


class Ina2xx(NamedTuple):
    """What differs between the two parts.

    Attributes:
        name: Of the part.
        configuration: Word that orders one averaged conversion of shunt and supply.
        reset_configuration: What the register holds after power-up.
        conversion_s: That conversion at its slowest, s.
        shunt_step_v: Per count, V.
        shunt_limit_v: Most that is measured, either sign, V.
        bus_step_v: Per count, V.
        bus_shift: Lowest bit of the supply's count in its register.
        bus_limit_v: Most that is measured, V.
    """

    name: str
    configuration: int
    reset_configuration: int
    conversion_s: float
    shunt_step_v: float
    shunt_limit_v: float
    bus_step_v: float
    bus_shift: int
    bus_limit_v: float


INA219 = Ina2xx("INA219", 0x3FFB, 0x399F, 0.150, 10e-6, 0.320, 4e-3, 3, 26.0)
"""32 V, ±320 mV, 128 samples each of 532 µs (at most 10 % slower), triggered."""

INA226 = Ina2xx("INA226", 0x4523, 0x4127, 0.040, 2.5e-6, 0.08192, 1.25e-3, 0, 36.0)
"""16 samples each of 1.1 ms for both (at most 10 % slower), triggered."""


def shunt_v(frame: bytes, part: Ina2xx, device: str) -> float:
    """Decode the voltage across the shunt, V, signed.

    Raises:
        BadFrame: wrong length.
    """
    return _word(frame, device, signed=True) * part.shunt_step_v


def bus_v(frame: bytes, part: Ina2xx, device: str) -> float:
    """Decode the voltage of the supply, V.

    Raises:
        BadFrame: wrong length.
    """
    return (_word(frame, device, signed=False) >> part.bus_shift) * part.bus_step_v


def _word(frame: bytes, device: str, *, signed: bool) -> int:
    if len(frame) != 2:
        raise BadFrame(device, f"expected 2 bytes, got {len(frame)}", frame)
    return int.from_bytes(frame, "big", signed=signed)
