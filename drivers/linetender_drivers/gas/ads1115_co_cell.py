"""An electrochemical carbon-monoxide cell with its amplifier on an ADS1115 converter.

Wiring and what it is good for: the manual in `drivers/README.md`. Tested against the
simulated converter. A cell that has dried out reads clean air: only gas shows that it
works.
"""

from linetender_drivers.contracts import Machine, Sensor
from linetender_drivers.converters.ads1115 import convert, verify_ads1115
from linetender_drivers.converters.ads1115_decode import CONVERSION_S
from linetender_drivers.errors import FailureReason
from linetender_drivers.gas.ads1115_co_cell_decode import CoCell
from linetender_drivers.gas.ads1115_co_cell_spec import CO_SIGNAL, Ads1115CoCellOptions
from linetender_drivers.i2c_sensor import I2cChip, I2cSensor
from linetender_drivers.measurements import Measurement
from linetender_drivers.signal_roles import known_signals

FULL_SCALE_MV = 4096


class Ads1115CoCellPart:
    """Converter, amplifier and cell; implements `i2c_sensor.I2cPart`.

    Args:
        options: How the amplifier is wired and what the cell gives.
    """

    sample_s = 2 * CONVERSION_S

    def __init__(self, options: Ads1115CoCellOptions) -> None:
        self._options = options
        self._cell = CoCell(
            options.sensitivity_na_per_ppm,
            options.gain_ohm,
            options.reference_mv / 1000,
            options.zero_mv / 1000,
            options.range_ppm,
        )

    async def start(self, chip: I2cChip) -> None:
        """Verify the converter."""
        await verify_ads1115(chip)

    async def sample(self, chip: I2cChip) -> tuple[Measurement, ...]:
        """Measure output and reference, and return the carbon monoxide."""
        output = await convert(chip, self._options.output_input, FULL_SCALE_MV)
        reference = await convert(chip, self._options.reference_input, FULL_SCALE_MV)
        co_ppm = self._cell.co_ppm(output.voltage_v, reference.voltage_v)
        if co_ppm is None or output.is_saturated or reference.is_saturated:
            return (Measurement(CO_SIGNAL, reason=FailureReason.OUT_OF_RANGE),)
        return (Measurement(CO_SIGNAL, co_ppm),)

    async def stop(self, chip: I2cChip) -> None:
        """Do nothing: the converter sleeps between conversions."""


def open_ads1115_co_cell(
    name: str, options: Ads1115CoCellOptions, machine: Machine, roles: tuple[str, ...]
) -> Sensor:
    """Return an unopened sensor that reports the carbon monoxide.

    Raises:
        DriverConfigError: `roles` names anything else.
    """
    known_signals(name, roles, frozenset({CO_SIGNAL}))
    part = Ads1115CoCellPart(options)
    return I2cSensor(name, machine, options, options.address, options.period_s, part)
