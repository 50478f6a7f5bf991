"""The physical station and its wearer: what is true, whatever the sensors say."""

from linetender.airline import hood
from linetender.airline.air_density import density_kg_m3
from linetender.airline.disturbance import GRAVITY_M_S2, LEE_COEFFICIENT
from linetender.simulation.breathing import Breathing
from linetender.simulation.fan import Fan
from linetender.simulation.gas_on_the_way import GasOnTheWay, IntakeAir
from linetender.simulation.knobs import NS_PER_S, START, Knob, Ramp, fault_of_turn
from linetender.simulation.line import AirInLine, Line, LineFigures, LineState
from linetender.simulation.turbulence import Turbulence
from linetender.simulation.wearer import STEP_NS, Wearer

__all__ = ["LineFigures", "World"]

_KELVIN = 273.15
_TURBULENCE = 0.3
"""Standard deviation of the wind over its mean: turbulence near the ground (common practice)."""

_EXHAUST_CO2_PER_CO_PPM = 5e-6
"""Carbon dioxide that comes with each ppm of carbon monoxide from a small engine (chosen)."""

_OF_THE_LINE = (
    Knob.CRUSH,
    Knob.KINK,
    Knob.LEAK,
    Knob.FILTER,
    Knob.DUCT_OFF_AT_FAN,
    Knob.DUCT_OFF_AT_HOOD,
    Knob.HOSE_OFF,
)

_OF_THE_WEARER = (
    Knob.HOOD,
    Knob.WORK,
    Knob.VENTILATION,
    Knob.MOTION,
    Knob.COLD,
    Knob.EXHAUST_CO_PPM,
    Knob.INTAKE_O2_PERCENT,
)
"""Of the wearer, and of the air that they are to get."""


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
        self._line = Line(self.figures)
        self._turbulence = Turbulence(seed, channel=0)
        self._gusts = Turbulence(seed, channel=4, finest_ns=500_000_000, octaves=5)
        self._breathing = Breathing()
        self._wearer = Wearer(seed, self.figures.ambient_pressure_pa)
        self._knobs = {knob: Ramp(value) for knob, value in START.items()}
        clean = IntakeAir(hood.INTAKE_CO2_FRACTION, hood.INTAKE_O2_FRACTION, 0.0)
        self._duct = GasOnTheWay(self.figures.duct_volume_l, clean)
        self._density = density_kg_m3(
            self.figures.ambient_temperature_c, self.figures.ambient_pressure_pa, 50.0
        )
        self._now_ns = 0
        self._next_step_ns = STEP_NS
        self._line_moves_until_ns = 0
        self._fan_moves_until_ns = 0
        self._wearer_moves_until_ns = 0
        self._weather_moves = False
        self._intake_air = clean
        self._air_now_ns = -1
        self._air_now = self._line.at(0.0)
        self._tell_wearer(0)

    # What is true

    def hood_pressure_pa(self, now_ns: int) -> float:
        """Return the pressure at the hood end against the room (Pa)."""
        self._advance(now_ns)
        steady = self._air(now_ns).hood_pa
        pressure = steady * (1.0 + self.figures.unrest * self._turbulence.value(now_ns))
        if self._wearer.hood_is_on and not self._line.is_apart:
            pressure += self._breathing.pressure_pa(now_ns)
        return pressure

    def orifice_pressure_pa(self, now_ns: int) -> float:
        """Return the pressure across the orifice beside the fan (Pa)."""
        self._advance(now_ns)
        steady = self._air(now_ns).orifice_pa
        return steady * (1.0 + self.figures.unrest * self._turbulence.value(now_ns))

    def element_pressure_pa(self, now_ns: int) -> float:
        """Return the pressure that the station's sensor is there to see (Pa)."""
        if self.figures.orifice_pa:
            return self.orifice_pressure_pa(now_ns)
        return self.hood_pressure_pa(now_ns)

    def airflow_l_min(self, now_ns: int) -> float:
        """Return the airflow to the hood (L/min), turbulence and breath left out.

        It is negative where a wind draws air out of the hood.
        """
        self._advance(now_ns)
        return self._air(now_ns).hood_l_min

    def fan_speed(self, now_ns: int) -> float:
        """Return the fan's speed over full speed (0 to 1)."""
        self._advance(now_ns)
        return self._fan.speed(now_ns)

    def hood_o2_fraction(self, now_ns: int) -> float:
        """Return the fraction of oxygen in what the wearer breathes in (0 to 1)."""
        self._advance(now_ns)
        return self._wearer.hood_o2_fraction

    def hood_co2_fraction(self, now_ns: int) -> float:
        """Return the fraction of carbon dioxide in what the wearer breathes in (0 to 1)."""
        self._advance(now_ns)
        return self._wearer.hood_co2_fraction

    def arriving(self, now_ns: int) -> IntakeAir:
        """Return what the air holds that arrives at the hood's end of the duct."""
        self._advance(now_ns)
        return self._duct.arriving

    def spo2_percent(self, now_ns: int) -> float:
        """Return the saturation that an oximeter shows (%, before its rounding)."""
        self._advance(now_ns)
        return self._wearer.spo2_percent(now_ns)

    def pulse_rate_bpm(self, now_ns: int) -> float:
        """Return the pulse rate that an oximeter shows (1/min, before its rounding)."""
        self._advance(now_ns)
        return self._wearer.pulse_rate_bpm(now_ns)

    def amplitude_index_percent(self, now_ns: int) -> float:
        """Return the strength of the pulse at the finger (%)."""
        self._advance(now_ns)
        return self._wearer.amplitude_index_percent()

    def value(self, knob: Knob, now_ns: int) -> float:
        """Return where a knob stands."""
        return self._knobs[knob].value(now_ns)

    # What changes

    def turn(self, now_ns: int, knob: Knob, to: float, over_s: float = 0.0) -> None:
        """Turn a knob from now on.

        Args:
            now_ns: From when on (ns).
            knob: Which.
            to: Its value at the end, in its own unit.
            over_s: How long it takes (s, >= 0).

        Raises:
            ValueError: The value is outside the knob's range.
        """
        fault = fault_of_turn(knob, to, over_s)
        if fault:
            raise ValueError(fault)
        self._advance(now_ns)
        over_ns = round(over_s * NS_PER_S)
        self._knobs[knob].turn(now_ns, to, over_ns)
        if knob is Knob.FAN:
            self._fan_moves_until_ns = now_ns + over_ns
            self._fan.drive(now_ns, self.value(knob, now_ns))
        elif knob in _OF_THE_LINE:
            self._line_moves_until_ns = max(self._line_moves_until_ns, now_ns + over_ns)
            self._line.set(self._state(now_ns))
        elif knob in (Knob.WIND, Knob.GUST, Knob.WARMER):
            self._weather_moves = True
        elif knob in _OF_THE_WEARER:
            self._wearer_moves_until_ns = max(self._wearer_moves_until_ns, now_ns + over_ns)
            self._tell_wearer(now_ns)
        self._air_now_ns = -1

    def fan_start(self, now_ns: int) -> None:
        """Switch the fan on."""
        self.turn(now_ns, Knob.FAN, 1.0)

    def fan_stop(self, now_ns: int) -> None:
        """Cut the fan's power."""
        self.turn(now_ns, Knob.FAN, 0.0)

    def crush(self, now_ns: int, fraction: float) -> None:
        """Close a part of the duct's area: 0 is a sound duct, 1 is shut.

        Raises:
            ValueError: The fraction is outside 0 to 1.
        """
        self.turn(now_ns, Knob.CRUSH, fraction)

    def hood_on(self, now_ns: int) -> None:
        """Let the wearer put the hood on."""
        self.turn(now_ns, Knob.HOOD, 1.0)

    def hood_off(self, now_ns: int) -> None:
        """Let the wearer take the hood off, in good air."""
        self.turn(now_ns, Knob.HOOD, 0.0)

    # How it moves

    def _air(self, now_ns: int) -> AirInLine:
        if now_ns == self._air_now_ns:
            return self._air_now
        if now_ns <= self._line_moves_until_ns + STEP_NS:
            self._line.set(self._state(now_ns))
        helping = self._weather_pa(now_ns) if self._weather_moves else 0.0
        self._air_now_ns = now_ns
        self._air_now = self._line.at(self._fan.speed(now_ns), helping)
        return self._air_now

    def _state(self, now_ns: int) -> LineState:
        def on(knob: Knob) -> bool:
            return self.value(knob, now_ns) >= 0.5

        return LineState(
            crush=self.value(Knob.CRUSH, now_ns),
            kink=self.value(Knob.KINK, now_ns),
            leak=self.value(Knob.LEAK, now_ns),
            filter=self.value(Knob.FILTER, now_ns),
            duct_off_at_fan=on(Knob.DUCT_OFF_AT_FAN),
            duct_off_at_hood=on(Knob.DUCT_OFF_AT_HOOD),
            hose_off=on(Knob.HOSE_OFF),
        )

    def _weather_pa(self, now_ns: int) -> float:
        """Return what wind and warm air in the line add to the fan's pressure (Pa)."""
        wind = self.value(Knob.WIND, now_ns)
        if wind:
            wind *= max(0.0, 1.0 + _TURBULENCE * self._gusts.value(now_ns))
        wind += self.value(Knob.GUST, now_ns)
        kelvin = self.figures.ambient_temperature_c + _KELVIN
        lighter = self._density * self.value(Knob.WARMER, now_ns) / kelvin
        sucks = LEE_COEFFICIENT * 0.5 * self._density * wind * wind
        return lighter * GRAVITY_M_S2 * self.figures.rise_m + sucks

    def _intake(self, now_ns: int) -> IntakeAir:
        co_ppm = self.value(Knob.EXHAUST_CO_PPM, now_ns)
        co2 = hood.INTAKE_CO2_FRACTION + _EXHAUST_CO2_PER_CO_PPM * co_ppm
        return IntakeAir(co2, self.value(Knob.INTAKE_O2_PERCENT, now_ns) / 100.0, co_ppm)

    def _tell_wearer(self, now_ns: int) -> None:
        wearer = self._wearer
        wearer.hood_is_on = self.value(Knob.HOOD, now_ns) >= 0.5
        wearer.uptake_l_min = self.value(Knob.WORK, now_ns)
        wearer.ventilation = self.value(Knob.VENTILATION, now_ns)
        wearer.motion = self.value(Knob.MOTION, now_ns)
        wearer.cold = self.value(Knob.COLD, now_ns)
        self._intake_air = self._intake(now_ns)

    def _advance(self, now_ns: int) -> None:
        """Let the world live up to an instant, before anything changes at it."""
        if now_ns < self._now_ns:
            raise ValueError(f"the world is at {self._now_ns} ns and cannot go back to {now_ns}")
        self._now_ns = now_ns
        while self._next_step_ns <= now_ns:
            self._step(self._next_step_ns)
            self._next_step_ns += STEP_NS

    def _step(self, at_ns: int) -> None:
        if at_ns <= self._fan_moves_until_ns + STEP_NS:
            self._fan.drive(at_ns, self.value(Knob.FAN, at_ns))
            self._air_now_ns = -1
        air = self._air(at_ns)
        if at_ns <= self._wearer_moves_until_ns + STEP_NS:
            self._tell_wearer(at_ns)
        self._duct.move(air.fan_l_min * (STEP_NS / NS_PER_S / 60.0), self._intake_air)
        self._wearer.step(air.hood_l_min, self._duct.arriving)
