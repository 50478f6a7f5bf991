"""An analogue pressure transducer on an ADS1115 converter.

Wiring and what it is good for: the manual in `drivers/README.md`. Tested against the
simulated converter. Output and supply are measured one after the other, 4 ms apart.
"""

from linetender_drivers.contracts import Machine, Sensor
from linetender_drivers.converters.ads1115 import convert, verify_ads1115
from linetender_drivers.converters.ads1115_decode import CONVERSION_S
from linetender_drivers.errors import FailureReason
from linetender_drivers.i2c_sensor import I2cChip, I2cSensor
from linetender_drivers.measurements import Measurement
from linetender_drivers.pressure.ads1115_pressure_decode import Transducer
from linetender_drivers.pressure.ads1115_pressure_spec import Ads1115PressureOptions
from linetender_drivers.signal_roles import one_pressure


class Ads1115PressurePart:
    """Converter and transducer; implements `i2c_sensor.I2cPart`.

    Args:
        options: How the transducer is wired and what it gives.
        pressure_signal: What the pressure it measures is called.
    """

    sample_s = 2 * CONVERSION_S

    def __init__(self, options: Ads1115PressureOptions, pressure_signal: str) -> None:
        self._options = options
        self._signal = pressure_signal
        self._transducer = Transducer(
            options.low_pa,
            options.high_pa,
            options.low_of_supply,
            options.high_of_supply,
            options.supply_min_v,
            options.supply_max_v,
        )

    async def start(self, chip: I2cChip) -> None:
        """Verify the converter."""
        await verify_ads1115(chip)

    async def sample(self, chip: I2cChip) -> tuple[Measurement, ...]:
        """Measure output and supply, and return the pressure."""
        options = self._options
        output = await convert(chip, options.output_input, options.full_scale_mv)
        supply = await convert(chip, options.supply_input, options.full_scale_mv)
        pressure_pa = self._transducer.pressure_pa(
            output.voltage_v * options.output_divider, supply.voltage_v * options.supply_divider
        )
        if pressure_pa is None or output.is_saturated or supply.is_saturated:
            return (Measurement(self._signal, reason=FailureReason.OUT_OF_RANGE),)
        return (Measurement(self._signal, pressure_pa),)

    async def stop(self, chip: I2cChip) -> None:
        """Do nothing: the converter sleeps between conversions."""


def open_ads1115_pressure(
    name: str, options: Ads1115PressureOptions, machine: Machine, roles: tuple[str, ...]
) -> Sensor:
    """Return an unopened sensor that reports the one pressure in `roles`.

    Raises:
        DriverConfigError: `roles` is anything else.
    """
    part = Ads1115PressurePart(options, one_pressure(name, roles, frozenset()))
    return I2cSensor(name, machine, options, options.address, options.period_s, part)
