"""From the voltages of an electrochemical cell's amplifier to carbon monoxide. Pure.

The cell gives a current in proportion to the gas; the amplifier makes it a voltage above
a reference. Both the cell's sensitivity and the amplifier's resistor are known numbers.
"""

from typing import NamedTuple

LEAST_PPM = -20.0
"""A cell that reads less is wired the wrong way round, was zeroed in gas, or is broken
(chosen: drift and noise are less)."""

REFERENCE_TOLERANCE = 0.1
"""A reference further off, as a part of itself, means an amplifier without power (chosen)."""


class CoCell(NamedTuple):
    """Cell and amplifier.

    Attributes:
        sensitivity_na_per_ppm: Current of the cell per gas, as printed on it, nA/ppm.
        gain_ohm: The amplifier's feedback resistor, Ω.
        reference_v: What its reference should be, V.
        zero_v: Output less reference in clean air, V.
        range_ppm: Most that the cell measures, ppm.
    """

    sensitivity_na_per_ppm: float
    gain_ohm: float
    reference_v: float
    zero_v: float
    range_ppm: float

    def co_ppm(self, output_v: float, reference_v: float) -> float | None:
        """Return the carbon monoxide, ppm; None if this is no working cell's.

        Args:
            output_v: Of the amplifier, V.
            reference_v: As measured, V.
        """
        if abs(reference_v - self.reference_v) > REFERENCE_TOLERANCE * self.reference_v:
            return None
        volts_per_ppm = self.sensitivity_na_per_ppm * 1e-9 * self.gain_ohm
        ppm = (output_v - reference_v - self.zero_v) / volts_per_ppm
        return ppm if LEAST_PPM <= ppm <= self.range_ppm else None
