"""Air of a recorded session, derived as the core does it."""

from collections import deque

from linetender.core.air import Air
from linetender.core.events import BaselineSet
from linetender.core.signals import Signal


class AirSeries:
    """Turns pressures into percent of the session's normal, and into L/min where calibrated.

    Before a normal is set, percent are of the taught one.

    Args:
        air: State of the air at the beginning of a segment.
    """

    def __init__(self, air: Air) -> None:
        self._air = air
        self.signal = air.plan.signal
        self.is_calibrated = air.plan.k_l_min is not None

    def percent_and_flow(self, pressure_pa: float) -> tuple[float, float]:
        """Return percent of normal, and airflow (L/min; 0 where not calibrated)."""
        air = self._air
        power = air.power(pressure_pa - air.plan.zero_pa)
        return air.percent(power), power * air.flow_per_power

    def see_speed(self, at_ns: int, rpm: float) -> None:
        """Take the fan's speed (Watch time): it explains a change of flow."""
        self._air.see_speed(at_ns, rpm)

    def take(self, event: BaselineSet) -> None:
        """Take a normal that was set, or discarded."""
        air = self._air
        if event.signal != air.baseline_signal:
            return
        if event.value is None:
            air.disarm(event.due_ns)
            return
        pressure_pa = event.value
        if self.is_calibrated and air.flow_per_power > 0.0:
            pressure_pa = (event.value / air.flow_per_power) ** (1.0 / air.plan.exponent)
        air.set_baseline(event.due_ns, deque([pressure_pa]), event.source)


DERIVED = (Signal.AIR_PERCENT_OF_BASELINE, Signal.AIRFLOW_L_MIN)
