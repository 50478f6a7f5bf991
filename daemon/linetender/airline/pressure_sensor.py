"""How far a differential-pressure sensor can be believed, and how far it reaches."""

import math
from dataclasses import dataclass
from typing import Self

from linetender.airline.quantity_checks import require_not_negative, require_positive


@dataclass(frozen=True, slots=True)
class PressureSensor:
    """A sensor's standard uncertainties and range.

    Attributes:
        zero_pa: Standard uncertainty of the zero (Pa, >= 0).
        span_relative: Standard uncertainty of the span over the reading (1, >= 0).
        range_pa: Greatest pressure that it can read (Pa, > 0).
        is_thermal: Whether its reading has to be corrected for the air's pressure, see
            `thermal_sensor`: then a doubt about that pressure is one about the reading.
    """

    zero_pa: float
    span_relative: float
    range_pa: float
    is_thermal: bool = False

    def __post_init__(self) -> None:
        require_not_negative("zero uncertainty", self.zero_pa, "Pa")
        require_not_negative("span uncertainty", self.span_relative, "of the reading")
        require_positive("sensor range", self.range_pa, "Pa")

    @classmethod
    def within(
        cls, zero_pa: float, span_percent: float, range_pa: float, *, is_thermal: bool = False
    ) -> Self:
        """Make a sensor from a data sheet's "within ±", of which nothing more is known.

        A limit without a distribution is taken as rectangular: u = limit/√3.

        Args:
            zero_pa: Limit of the zero error (± Pa).
            span_percent: Limit of the span error (± % of the reading).
            range_pa: Greatest pressure that it can read (Pa).
            is_thermal: Whether its reading depends on the air's pressure.

        Source:
            JCGM 100:2008 (GUM), 4.3.7.
        """
        root = math.sqrt(3.0)
        return cls(zero_pa / root, span_percent / 100.0 / root, range_pa, is_thermal)


SDP8XX_500 = PressureSensor.within(0.1, 3.0, 500.0, is_thermal=True)
"""SDP800/801/810/811-500Pa (data sheet: zero 0.1 Pa; span 3 % from memory)."""

SDP8XX_125 = PressureSensor.within(0.08, 3.0, 125.0, is_thermal=True)
"""SDP800/810-125Pa (from memory)."""

MEMBRANE_1_PSI = PressureSensor.within(17.2, 0.0, 6894.757)
"""A membrane sensor of ±1 psi, 14 bits: 0.25 % of full scale (from memory), 1.05 Pa a count."""
