"""Flow-through (thermal) pressure sensors: one correction for the air's pressure, once.

Such a sensor heats a trickle of air between its ports and feels the mass that passes.
In thinner air the same pressure drives less mass, and it reads too low. A reading is
therefore a type of its own: `ThermalReading.true_pa` makes a plain pressure out of
it, and a plain pressure has no such step left that could be taken twice.
"""

from dataclasses import dataclass

from linetender.airline.quantity_checks import require_finite, require_positive

CALIBRATION_PRESSURE_PA = 96_600.0
"""Air pressure at which the SDP3x and SDP8xx are calibrated (966 mbar).

Source: data sheets of the series; the same constant stands in public drivers.
"""


@dataclass(frozen=True, slots=True)
class ThermalReading:
    """What a thermal sensor says in its mode for differential pressure.

    The mode for mass flow has another temperature compensation and must not be read
    into this class: a density correction on top of it would be the second one.

    Attributes:
        reading_pa: Differential pressure as read (Pa, either sign).
        calibration_pressure_pa: Air pressure at which the maker calibrated (Pa, > 0).
    """

    reading_pa: float
    calibration_pressure_pa: float = CALIBRATION_PRESSURE_PA

    def __post_init__(self) -> None:
        require_finite("reading", self.reading_pa, "Pa")
        require_positive("calibration pressure", self.calibration_pressure_pa, "Pa")

    def true_pa(self, ambient_pa: float) -> float:
        """Return the true differential pressure (Pa) in air of this absolute pressure (Pa).

        Raises:
            ValueError: The air pressure is not above 0.
        """
        return self.reading_pa * correction_factor(ambient_pa, self.calibration_pressure_pa)


def reading_of(
    true_pa: float, ambient_pa: float, calibration_pressure_pa: float = CALIBRATION_PRESSURE_PA
) -> ThermalReading:
    """Return what a sensor reads at a true differential pressure (Pa); inverse of `true_pa`.

    Raises:
        ValueError: A pressure is not finite, or the air pressure is not above 0.
    """
    factor = correction_factor(ambient_pa, calibration_pressure_pa)
    return ThermalReading(true_pa / factor, calibration_pressure_pa)


def correction_factor(
    ambient_pa: float, calibration_pressure_pa: float = CALIBRATION_PRESSURE_PA
) -> float:
    """Return true pressure over reading (1) in air of this absolute pressure (Pa).

    Raises:
        ValueError: The air pressure is not above 0.
    """
    require_positive("air pressure", ambient_pa, "Pa")
    return calibration_pressure_pa / ambient_pa
