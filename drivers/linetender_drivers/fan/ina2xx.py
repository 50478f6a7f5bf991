"""The INA219 and INA226 on I2C: current of the fan and voltage of its supply.

Wiring and limits: the manual in `drivers/README.md`. Tested against the simulated chips.

Each conversion is ordered by itself, so that none is old. The chips have no CRC: what
was ordered is read back, and results are read twice. The current is computed here from
the shunt's voltage; the chips' own arithmetic is not used.
"""

from linetender_drivers.contracts import Machine, Sensor
from linetender_drivers.fan.ina2xx_decode import INA219, INA226, Ina2xx, bus_v, shunt_v
from linetender_drivers.fan.ina2xx_spec import (
    CURRENT_SIGNAL,
    SIGNALS,
    VOLTAGE_SIGNAL,
    Ina2xxOptions,
)
from linetender_drivers.i2c_sensor import I2cChip, I2cSensor
from linetender_drivers.measurements import Measurement, within
from linetender_drivers.signal_roles import known_signals

CONFIGURATION = b"\x00"
SHUNT = b"\x01"
BUS = b"\x02"

INA219_CALIBRATION = b"\x05"
INA219_READY = 0x02
INA219_OVERFLOW = 0x01

INA226_MASK = b"\x06"
INA226_READY = b"\x00\x08"
"""Of the mask register, in which nothing else is switched on; reading it clears it."""
INA226_IDENTIFIERS = ((b"\xfe", b"\x54\x49"), (b"\xff", b"\x22\x60"))
"""Maker and die."""


class Ina2xxPart:
    """The chip; implements `i2c_sensor.I2cPart`.

    Args:
        part: Which of the two.
        shunt_ohm: Resistance of the shunt, Ω.
        signals: What to report.
    """

    def __init__(self, part: Ina2xx, shunt_ohm: float, signals: frozenset[str]) -> None:
        self.sample_s = part.conversion_s
        self._part = part
        self._shunt_ohm = shunt_ohm
        self._signals = signals

    async def start(self, chip: I2cChip) -> None:
        """Verify the chip by reading only."""
        if self._part is INA226:
            await verify_ina226(chip)
        else:
            await verify_ina219(chip)

    async def sample(self, chip: I2cChip) -> tuple[Measurement, ...]:
        """Measure once, and return what is asked for."""
        part = self._part
        ordered = part.configuration.to_bytes(2, "big")
        await chip.write(CONFIGURATION + ordered)
        await chip.sleep(part.conversion_s)
        configuration = await chip.ask(CONFIGURATION, 2)
        if configuration != ordered:
            message = f"configuration is not {ordered.hex()}: the chip was reset meanwhile"
            raise chip.bad_frame(message, configuration)
        if part is INA226:
            await _check_ina226_ready(chip)
        bus = await chip.ask_twice(BUS, 2)
        if part is INA219 and bus[1] & (INA219_READY | INA219_OVERFLOW) != INA219_READY:
            raise chip.bad_frame("not converted, or overflown", bus)
        shunt = shunt_v(await chip.ask_twice(SHUNT, 2), part, chip.name)
        limit_a = part.shunt_limit_v / self._shunt_ohm
        # The ends of the shunt's range are where the converter saturates.
        almost_a = limit_a - part.shunt_step_v / self._shunt_ohm * 1.5
        measurements = (
            within(CURRENT_SIGNAL, shunt / self._shunt_ohm, -almost_a, almost_a),
            within(VOLTAGE_SIGNAL, bus_v(bus, part, chip.name), 0.0, part.bus_limit_v),
        )
        return tuple(one for one in measurements if one.signal in self._signals)

    async def stop(self, chip: I2cChip) -> None:
        """Do nothing: the chip sleeps between conversions."""


async def verify_ina226(chip: I2cChip) -> None:
    """Check its identifiers, by reading only.

    Raises:
        DeviceNotFound: it is something else (reason `wrong_device`).
    """
    for register, identifier in INA226_IDENTIFIERS:
        answer = await chip.ask_twice(register, 2)
        if answer != identifier:
            found = f"a chip with {answer.hex()} in its register {register.hex()}"
            raise chip.wrong_device(found, f"an INA226 ({identifier.hex()})")


async def verify_ina219(chip: I2cChip) -> None:
    """Check its reset values, since it has no identifier; ours is the only other.

    Raises:
        DeviceNotFound: it is something else (reason `wrong_device`).
    """
    configuration = await chip.ask_twice(CONFIGURATION, 2)
    calibration = await chip.ask_twice(INA219_CALIBRATION, 2)
    known = (INA219.reset_configuration, INA219.configuration)
    if int.from_bytes(configuration, "big") not in known or any(calibration):
        found = f"a chip with {configuration.hex()} and {calibration.hex()} in registers 0 and 5"
        raise chip.wrong_device(found, "an INA219 (399f and 0000; cut its power once)")


async def _check_ina226_ready(chip: I2cChip) -> None:
    mask = await chip.ask(INA226_MASK, 2)
    if mask != INA226_READY:
        raise chip.bad_frame("not converted, or overflown", mask)


def open_ina219(
    name: str, options: Ina2xxOptions, machine: Machine, roles: tuple[str, ...]
) -> Sensor:
    """Return an unopened INA219 that reports the signals in `roles`.

    Raises:
        DriverConfigError: `roles` is empty or names a signal it cannot give.
    """
    return _open(INA219, name, options, machine, roles)


def open_ina226(
    name: str, options: Ina2xxOptions, machine: Machine, roles: tuple[str, ...]
) -> Sensor:
    """Return an unopened INA226 that reports the signals in `roles`.

    Raises:
        DriverConfigError: `roles` is empty or names a signal it cannot give.
    """
    return _open(INA226, name, options, machine, roles)


def _open(
    part: Ina2xx, name: str, options: Ina2xxOptions, machine: Machine, roles: tuple[str, ...]
) -> Sensor:
    signals = known_signals(name, roles, SIGNALS)
    read = Ina2xxPart(part, options.shunt_mohm / 1000, signals)
    return I2cSensor(name, machine, options, options.address, options.period_s, read)
