"""A change of diameter between two pieces of the line."""

from dataclasses import dataclass

from linetender.airline.air_state import AirState
from linetender.airline.flow_element import Flag
from linetender.airline.friction_factor import velocity_pressure_pa
from linetender.airline.quantity_checks import require_finite, require_positive


@dataclass(frozen=True, slots=True)
class Adapter:
    """A sudden change of diameter: more than a tapered one loses, the safe side.

    Attributes:
        name: What people call it.
        from_mm: Inside diameter where the air comes from (mm, > 0).
        to_mm: Inside diameter where it goes (mm, > 0).
    """

    name: str
    from_mm: float
    to_mm: float

    def __post_init__(self) -> None:
        require_positive(f"{self.name}: first diameter", self.from_mm, "mm")
        require_positive(f"{self.name}: second diameter", self.to_mm, "mm")

    @property
    def loss_coefficient(self) -> float:
        """Velocity heads of the narrower side that are lost (1).

        Widening: (1 - A1/A2)², Borda and Carnot. Narrowing: 0.5·(1 - A2/A1), common
        practice.
        """
        if self.to_mm >= self.from_mm:
            return (1.0 - (self.from_mm / self.to_mm) ** 2) ** 2
        return 0.5 * (1.0 - (self.to_mm / self.from_mm) ** 2)

    def pressure_drop_pa(self, airflow_l_min: float, air: AirState) -> float:
        """Return the total pressure (Pa, >= 0) lost at an airflow (L/min); 0 for no flow.

        Raises:
            ValueError: The airflow is not finite.
        """
        require_finite("airflow", airflow_l_min, "L/min")
        narrow_mm = min(self.from_mm, self.to_mm)
        head = velocity_pressure_pa(max(0.0, airflow_l_min), narrow_mm, air)
        return self.loss_coefficient * head

    def flags(self, airflow_l_min: float, air: AirState) -> tuple[Flag, ...]:
        """Return nothing: the formula has no limit that an air line could reach."""
        return ()
