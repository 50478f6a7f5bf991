"""An electrochemical CO cell on an ADS1115, for the registry. Loads no hardware library."""

from typing import Literal

from pydantic import Field, model_validator

from linetender_drivers.i2c_options import I2cOptions
from linetender_drivers.registry import DriverSpec, Kind

CO_SIGNAL = "intake_co_ppm"


class Ads1115CoCellOptions(I2cOptions):
    """How the cell's amplifier is wired to the converter, and what it gives.

    Attributes:
        bus: Device node of its I2C bus, e.g. `/dev/i2c-1`, or `simulated`.
        address: 7-bit, of the converter; by its address pin.
        output_input: The converter's input (0 to 3) that the amplifier's output is at.
        reference_input: The input that its reference voltage is at.
        sensitivity_na_per_ppm: As printed on the cell, nA/ppm.
        gain_ohm: The amplifier's feedback resistor, Ω.
        reference_mv: What its reference should be, mV.
        zero_mv: Output less reference in clean air, mV.
        range_ppm: Most that the cell measures, ppm.
        period_s: Time between two readings, s.
    """

    address: Literal[0x48, 0x49, 0x4A, 0x4B] = 0x48
    output_input: Literal[0, 1, 2, 3] = 0
    reference_input: Literal[0, 1, 2, 3] = 1
    sensitivity_na_per_ppm: float = Field(ge=0.1, le=500.0)
    gain_ohm: float = Field(ge=1000.0, le=10_000_000.0)
    reference_mv: float = Field(ge=50.0, le=3000.0)
    zero_mv: float = Field(default=0.0, ge=-200.0, le=200.0)
    range_ppm: float = Field(default=1000.0, ge=100.0, le=10_000.0)
    period_s: float = Field(default=1.0, ge=0.1, le=10.0)

    @model_validator(mode="after")
    def _two_inputs(self) -> "Ads1115CoCellOptions":
        if self.output_input == self.reference_input:
            raise ValueError("output_input and reference_input must be two inputs")
        return self


def _provides(_: Ads1115CoCellOptions) -> frozenset[str]:
    return frozenset({CO_SIGNAL})


SPEC = DriverSpec(
    kind=Kind.SENSOR,
    options=Ads1115CoCellOptions,
    provides=_provides,
    open="linetender_drivers.gas.ads1115_co_cell:open_ads1115_co_cell",
    probe="linetender_drivers.converters.ads1115_probe:CO_CELL_PROBES",
    summary="electrochemical carbon-monoxide cell on an ADS1115 converter, I2C",
)
