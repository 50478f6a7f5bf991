"""Hose and hood as flow element: the pressure at the hood end of the duct against the room.

From the tap on, the air has to pass reducer, hose and hood into the room. A wall tap
feels static pressure, the losses of that way less the velocity head at the tap:

    Δp = Δp_reducer + Δp_hose + ½ρ·V_hose² + Δp_outlet - ½ρ·V_tap²

No part of it is known well from a drawing, so every result is flagged as uncalibrated.
"""

from dataclasses import dataclass

from linetender.airline.adapter import Adapter
from linetender.airline.air_state import AirState
from linetender.airline.bracketed_root import argument_at
from linetender.airline.duct import EXIT_LOSS, Duct
from linetender.airline.flow_element import Contribution, Flag, FlagKind, Source
from linetender.airline.friction_factor import velocity_pressure_pa
from linetender.airline.hood_outlet import HoodOutlet
from linetender.airline.quantity_checks import require_finite, require_not_negative

DRAWING_RELATIVE = 0.15
"""Standard uncertainty of a flow computed from a drawing of hose and hood (chosen).

Corrugation and neck gap are known to some tens of percent, and flow goes with the root.
"""


@dataclass(frozen=True, slots=True)
class HoodHose:
    """The last piece of the line, from the tap through hose and hood into the room.

    Attributes:
        tap_mm: Inside diameter of the duct at the tap (mm, not below the hose's).
        hose: The hose, its bends included; its exit into the hood is added here.
        outlet: Where the air leaves the hood.
        drawing_relative: Standard uncertainty of the flow over the flow (1).
    """

    tap_mm: float
    hose: Duct
    outlet: HoodOutlet
    drawing_relative: float = DRAWING_RELATIVE

    def __post_init__(self) -> None:
        require_finite("tap diameter", self.tap_mm, "mm")
        require_not_negative("drawing uncertainty", self.drawing_relative, "of flow")
        if self.tap_mm < self.hose.diameter_mm:
            raise ValueError(
                f"tap diameter {self.tap_mm} mm is below the hose's {self.hose.diameter_mm} mm: "
                "the pressure there falls as the flow rises; tap the wide side"
            )

    def airflow_l_min(self, differential_pa: float, air: AirState) -> float:
        """Return the actual airflow (L/min, >= 0) at a pressure (Pa) against the room.

        Raises:
            ValueError: The pressure is not finite.
        """
        require_finite("pressure", differential_pa, "Pa")
        return argument_at(lambda flow: self.differential_pa(flow, air), max(0.0, differential_pa))

    def differential_pa(self, airflow_l_min: float, air: AirState) -> float:
        """Return the static pressure (Pa, >= 0) at the tap against the room; 0 for no flow.

        Raises:
            ValueError: The airflow is not finite.
        """
        require_finite("airflow", airflow_l_min, "L/min")
        airflow = max(0.0, airflow_l_min)
        reducer = Adapter("reducer", self.tap_mm, self.hose.diameter_mm)
        losses = (reducer, self.hose, self.outlet)
        total = sum(loss.pressure_drop_pa(airflow, air) for loss in losses)
        leaving = EXIT_LOSS * velocity_pressure_pa(airflow, self.hose.diameter_mm, air)
        return total + leaving - velocity_pressure_pa(airflow, self.tap_mm, air)

    def flags(self, airflow_l_min: float, air: AirState) -> tuple[Flag, ...]:
        """Return that it is not calibrated, and whether the hose is in transition."""
        drawing = Flag(FlagKind.UNCALIBRATED, "hose and hood are known from a drawing only")
        return (drawing, *self.hose.flags(airflow_l_min, air))

    def own_contributions(self, airflow_l_min: float, air: AirState) -> tuple[Contribution, ...]:
        """Return the doubt about hose and hood (L/min, standard)."""
        return (Contribution(Source.COEFFICIENT, airflow_l_min * self.drawing_relative),)
