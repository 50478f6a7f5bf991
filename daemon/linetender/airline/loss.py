"""A piece of the line that takes pressure."""

from typing import Protocol

from linetender.airline.air_state import AirState
from linetender.airline.flow_element import Flag


class Loss(Protocol):
    """Duct, adapter, filter, orifice plate, hood outlet: all that resists the air."""

    @property
    def name(self) -> str:
        """What people call it."""

    def pressure_drop_pa(self, airflow_l_min: float, air: AirState) -> float:
        """Return the total pressure (Pa, >= 0) lost at an airflow (L/min).

        It is 0 without flow and never falls as the flow rises.
        """

    def flags(self, airflow_l_min: float, air: AirState) -> tuple[Flag, ...]:
        """Return every limit of validity that this airflow (L/min) lies outside."""
