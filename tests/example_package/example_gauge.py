"""A driver from outside: an invented pressure gauge at 0x50, tenths of a pascal in register 1."""

from linetender_drivers.i2c_options import I2cOptions
from linetender_drivers.i2c_sensor import I2cChip, I2cSensor
from linetender_drivers.measurements import Measurement, within
from linetender_drivers.registry import DriverSpec, Kind

IDENTIFIER = b"EX"


class GaugePart:
    """The chip; implements `i2c_sensor.I2cPart`."""

    sample_s = 0.0

    async def start(self, chip: I2cChip) -> None:
        """Verify the identifier in register 0."""
        found = await chip.ask_twice(b"\x00", 2)
        if found != IDENTIFIER:
            raise chip.wrong_device(f"a chip called {found.hex()}", "an example gauge")

    async def sample(self, chip: I2cChip) -> tuple[Measurement, ...]:
        """Read the pressure."""
        tenths = int.from_bytes(await chip.ask_twice(b"\x01", 2), "big", signed=True)
        return (within("filter_pressure_pa", tenths / 10, -1000.0, 1000.0),)

    async def stop(self, chip: I2cChip) -> None:
        """Do nothing: it always measures."""


def open_gauge(name, options, machine, roles):  # type: ignore[no-untyped-def]
    """Return an unopened gauge."""
    return I2cSensor(name, machine, options, 0x50, 0.1, GaugePart())


SPEC = DriverSpec(
    kind=Kind.SENSOR,
    options=I2cOptions,
    provides=lambda _: frozenset({"filter_pressure_pa"}),
    open="example_gauge:open_gauge",
    summary="example of a driver from another package",
)
