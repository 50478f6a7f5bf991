"""An analogue pressure transducer on an ADS1115, for the registry. Loads no hardware library."""

from typing import Literal

from pydantic import Field, model_validator

from linetender_drivers.i2c_options import I2cOptions
from linetender_drivers.registry import DriverSpec, Kind
from linetender_drivers.signal_roles import PRESSURE_SIGNALS

AnalogueInput = Literal[0, 1, 2, 3]


class Ads1115PressureOptions(I2cOptions):
    """How the transducer is wired to the converter, and what it gives.

    Attributes:
        bus: Device node of its I2C bus, e.g. `/dev/i2c-1`, or `simulated`.
        address: 7-bit, of the converter; by its address pin.
        output_input: The converter's input (0 to 3) that the transducer's output is at.
        supply_input: The input that the transducer's supply is at.
        output_divider: Transducer's output over what reaches the input; 1 for none.
        supply_divider: The same for the supply; 2 for two equal resistors.
        low_pa: Pressure at the lower end of the transducer's range, Pa.
        high_pa: Pressure at the upper end, Pa.
        low_of_supply: Output over supply at the lower end.
        high_of_supply: Output over supply at the upper end.
        supply_min_v: Least supply with which the transducer is exact, V.
        supply_max_v: Greatest such supply, V.
        full_scale_mv: The converter's range, mV.
        period_s: Time between two readings, s; one takes 9 ms.
    """

    address: Literal[0x48, 0x49, 0x4A, 0x4B] = 0x48
    output_input: AnalogueInput = 0
    supply_input: AnalogueInput = 1
    output_divider: float = Field(default=1.0, ge=1.0, le=100.0)
    supply_divider: float = Field(default=2.0, ge=1.0, le=100.0)
    low_pa: float = Field(ge=-100_000.0, le=100_000.0)
    high_pa: float = Field(ge=-100_000.0, le=100_000.0)
    low_of_supply: float = Field(default=0.1, ge=0.0, le=1.0)
    high_of_supply: float = Field(default=0.9, ge=0.0, le=1.0)
    supply_min_v: float = Field(default=4.75, gt=0.5, le=30.0)
    supply_max_v: float = Field(default=5.25, gt=0.5, le=30.0)
    full_scale_mv: Literal[2048, 4096, 6144] = 4096
    period_s: float = Field(default=0.05, ge=0.02, le=1.0)

    @model_validator(mode="after")
    def _ends_differ(self) -> "Ads1115PressureOptions":
        for low, high in (
            ("low_pa", "high_pa"),
            ("low_of_supply", "high_of_supply"),
            ("supply_min_v", "supply_max_v"),
        ):
            if not getattr(self, low) < getattr(self, high):
                raise ValueError(f"{low} must be less than {high}")
        if self.output_input == self.supply_input:
            raise ValueError("output_input and supply_input must be two inputs")
        return self


def _provides(_: Ads1115PressureOptions) -> frozenset[str]:
    return PRESSURE_SIGNALS


SPEC = DriverSpec(
    kind=Kind.SENSOR,
    options=Ads1115PressureOptions,
    provides=_provides,
    open="linetender_drivers.pressure.ads1115_pressure:open_ads1115_pressure",
    probe="linetender_drivers.converters.ads1115_probe:PRESSURE_PROBES",
    summary="ratiometric analogue pressure transducer on an ADS1115 converter, I2C",
)
