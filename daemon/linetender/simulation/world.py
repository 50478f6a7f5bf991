"""The physical station and its wearer: what is true, whatever the sensors say."""

from dataclasses import dataclass

from linetender.simulation.breathing import Breathing
from linetender.simulation.fan import Fan
from linetender.simulation.line import Line
from linetender.simulation.turbulence import Turbulence
from linetender.simulation.wearer import STEP_NS, Wearer


@dataclass(frozen=True)
class LineFigures:
    """An invented line, seen from the wearer's end.

    Attributes:
        normal_pa: Hood-end pressure against the room at full fan speed (Pa).
        normal_l_min: Airflow then (L/min).
        exponent: n of Q = k·Δp^n of hose and hood (1).
        fan_tau_s: Time in which the fan coasts to half speed (s).
        unrest: Standard deviation of the pressure's turbulence over the pressure (1).
        ambient_pressure_pa: Air pressure of the place (Pa). The default lies some
            400 m up, where a thermal pressure sensor reads true as it is.
        ambient_temperature_c: Air temperature (°C).
    """

    normal_pa: float = 60.0
    normal_l_min: float = 250.0
    exponent: float = 0.54
    fan_tau_s: float = 3.0
    unrest: float = 0.02
    ambient_pressure_pa: float = 96_600.0
    ambient_temperature_c: float = 21.0


class World:
    """One station and one wearer, the same for the same seed, whoever looks and when.

    Time is given with each question and each change, in ns from 0, and never runs
    back. At the beginning the fan stands still and the hood is off.

    Args:
        seed: Any whole number; another seed is another day on the same line.
        figures: The line.
    """

    def __init__(self, seed: int, figures: LineFigures | None = None) -> None:
        self.figures = figures or LineFigures()
        self._fan = Fan(self.figures.fan_tau_s)
        self._line = Line(self.figures.normal_pa, self.figures.normal_l_min, self.figures.exponent)
        self._turbulence = Turbulence(seed, channel=0)
        self._breathing = Breathing()
        self._wearer = Wearer(seed, self.figures.ambient_pressure_pa)
        self._now_ns = 0
        self._next_step_ns = STEP_NS

    def hood_pressure_pa(self, now_ns: int) -> float:
        """Return the pressure at the hood end against the room (Pa)."""
        self._advance(now_ns)
        steady = self._line.hood_pressure_pa(self._fan.speed(now_ns))
        pressure = steady * (1.0 + self.figures.unrest * self._turbulence.value(now_ns))
        if self._wearer.hood_is_on:
            pressure += self._breathing.pressure_pa(now_ns)
        return pressure

    def airflow_l_min(self, now_ns: int) -> float:
        """Return the airflow to the hood (L/min), turbulence and breath left out."""
        self._advance(now_ns)
        return self._line.airflow_l_min(self._fan.speed(now_ns))

    def hood_o2_fraction(self, now_ns: int) -> float:
        """Return the fraction of oxygen in what the wearer breathes in (0 to 1)."""
        self._advance(now_ns)
        return self._wearer.hood_o2_fraction

    def spo2_percent(self, now_ns: int) -> float:
        """Return the saturation that an oximeter shows (%, before its rounding)."""
        self._advance(now_ns)
        return self._wearer.spo2_percent(now_ns)

    def pulse_rate_bpm(self, now_ns: int) -> float:
        """Return the pulse rate that an oximeter shows (1/min, before its rounding)."""
        self._advance(now_ns)
        return self._wearer.pulse_rate_bpm(now_ns)

    def fan_start(self, now_ns: int) -> None:
        """Switch the fan on."""
        self._advance(now_ns)
        self._fan.start(now_ns)

    def fan_stop(self, now_ns: int) -> None:
        """Cut the fan's power."""
        self._advance(now_ns)
        self._fan.stop(now_ns)

    def crush(self, now_ns: int, fraction: float) -> None:
        """Close a part of the duct's area: 0 is a sound duct, 1 is shut.

        Raises:
            ValueError: The fraction is outside 0 to 1.
        """
        self._advance(now_ns)
        self._line.crush(fraction)

    def hood_on(self, now_ns: int) -> None:
        """Let the wearer put the hood on."""
        self._advance(now_ns)
        self._wearer.hood_is_on = True

    def hood_off(self, now_ns: int) -> None:
        """Let the wearer take the hood off, in good air."""
        self._advance(now_ns)
        self._wearer.hood_is_on = False

    def _advance(self, now_ns: int) -> None:
        """Let the wearer live up to an instant, before anything changes at it."""
        if now_ns < self._now_ns:
            raise ValueError(f"the world is at {self._now_ns} ns and cannot go back to {now_ns}")
        self._now_ns = now_ns
        while self._next_step_ns <= now_ns:
            self._wearer.step(self._line.airflow_l_min(self._fan.speed(self._next_step_ns)))
            self._next_step_ns += STEP_NS
