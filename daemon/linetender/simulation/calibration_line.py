"""An invented line with hands at it, that can be taught and calibrated without hardware."""

from random import Random

from linetender.airline.teaching import LineState
from linetender.simulation.devices import Rig
from linetender.simulation.world import LineFigures, World
from linetender_drivers.contracts import Clock
from linetender_drivers.simulated.machine import SimulatedMachine

_QUICK_FAN = LineFigures(fan_tau_s=0.02)
"""The fan is up and down before a measurement begins: hands that do not wait need no more."""

_JOINED_PA = 0.01
"""What is left of the sensor's zero (invented)."""

_DUCT_OFF_PART = 0.02
"""Of the pressure at the hood's end, when the duct is off before it (invented)."""

_PINCHED_PART = 0.65
"""Closed part of the duct's area (invented)."""

_STOPWATCH_S = 0.25
_FULLNESS_RELATIVE = 0.02
"""By how much this line's hands err, as standard deviations (invented; a person's are like it)."""

THROTTLES = (0.0, 0.4, 0.55, 0.65, 0.7)
"""Closed parts of the duct's area at which a demonstration measures: 100 to 49 % of the flow."""


class CalibrationLine:
    """A simulated line whose states and flow are set by hand.

    Args:
        machine: Its sensor is attached to this machine's bus.
        clock: Whose time the world lives by.
        seed: Another seed errs otherwise.
    """

    def __init__(self, machine: SimulatedMachine, clock: Clock, seed: int = 1) -> None:
        self._clock = clock
        self._random = Random(seed)
        self._world = World(seed, _QUICK_FAN)
        self._sensor = Rig(self._world, machine).air_sensor

    def bring(self, state: LineState) -> None:
        """Bring the line into a state."""
        now_ns = self._clock.now_ns()
        self._world.crush(now_ns, _PINCHED_PART if state is LineState.PINCHED else 0.0)
        if state is LineState.FAN_OFF:
            self._world.fan_stop(now_ns)
        elif state is not LineState.JOINED:
            self._world.fan_start(now_ns)
        if state is LineState.JOINED:
            self._sensor.pressure_pa = lambda _: _JOINED_PA
        elif state is LineState.DUCT_OFF:
            self._sensor.pressure_pa = lambda at_ns: (
                _DUCT_OFF_PART * self._world.hood_pressure_pa(at_ns)
            )
        else:
            self._sensor.pressure_pa = self._world.hood_pressure_pa

    def throttle(self, closed: float) -> None:
        """Close a part of the duct's area (0 to 1)."""
        self._world.crush(self._clock.now_ns(), closed)

    def airflow_l_min(self) -> float:
        """Return the true airflow (L/min), which only a simulation can know."""
        return self._world.airflow_l_min(self._clock.now_ns())

    def fill_s(self, volume_l: float) -> float:
        """Fill a bag (L) by hand and return what the stopwatch says (s)."""
        true_s = 60.0 * volume_l / self.airflow_l_min()
        by_eye = 1.0 + self._random.gauss(0.0, _FULLNESS_RELATIVE)
        return true_s * by_eye + self._random.gauss(0.0, _STOPWATCH_S)
