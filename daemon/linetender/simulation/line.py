"""Fan, filter, duct, hose and hood: from fan speed and faults to flows and pressures.

Air through a line settles within hundredths of a second, so each instant is a balance:

    p0·ω² - p0·(Q/Q_free)² + wind = r·Q + (k_duct + k_throat + k_orifice)·Q² + (Q/C)^(1/n)

with a parabolic fan, a filter that is linear in Q, duct and orifice that are square in
Q, and hose and hood by their own power law.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

from linetender.airline.fitted_element import differential_pa

_CLOSE_ENOUGH = 1e-11
_MOST_STEPS = 60
_HOOD_SHARE = 0.08
"""Part of the hood-end pressure that the hood itself takes, the rest being the hose's (chosen)."""


@dataclass(frozen=True)
class LineFigures:
    """An invented line, by what each piece takes at the normal flow.

    Attributes:
        normal_pa: Hood-end pressure against the room at full fan speed (Pa).
        normal_l_min: Airflow then (L/min).
        exponent: n of Q = k·Δp^n of hose and hood (1).
        filter_pa: Drop of the new filter (Pa).
        duct_pa: Drop of the duct (Pa).
        orifice_pa: Drop of the orifice plate beside the fan (Pa); 0 is none.
        throat_pa: Velocity head at the duct's weakest place (Pa); chosen so that a
            duct half crushed carries 77 % of the flow.
        free_l_min: Airflow of the fan without any resistance (L/min).
        duct_volume_l: Air that the duct holds (L): 10 m of 100 mm.
        rise_m: Height of the hood over the intake (m).
        fan_tau_s: Time in which the fan coasts to half speed (s).
        unrest: Standard deviation of the pressure's turbulence over the pressure (1).
        ambient_pressure_pa: Air pressure of the place (Pa). The default lies some
            400 m up, where a thermal pressure sensor reads true as it is.
        ambient_temperature_c: Air temperature (°C).
    """

    normal_pa: float = 60.0
    normal_l_min: float = 250.0
    exponent: float = 0.54
    filter_pa: float = 40.0
    duct_pa: float = 20.0
    orifice_pa: float = 0.0
    throat_pa: float = 17.2
    free_l_min: float = 3000.0
    duct_volume_l: float = 78.5
    rise_m: float = 3.0
    fan_tau_s: float = 3.0
    unrest: float = 0.02
    ambient_pressure_pa: float = 96_600.0
    ambient_temperature_c: float = 21.0

    @property
    def shut_off_pa(self) -> float:
        """Pressure of the fan without flow (Pa), such that it gives the normal flow."""
        taken = self.normal_pa + self.filter_pa + self.duct_pa + self.orifice_pa
        return taken / (1.0 - (self.normal_l_min / self.free_l_min) ** 2)


@dataclass(frozen=True, slots=True)
class LineState:
    """What has become of the line; the default is a sound one.

    Attributes:
        crush: Closed part of the duct's area (0 to 1).
        kink: Part by which hose and hood conduct less (0 to 1).
        leak: Leak at the hood end over what hose and hood conduct (>= 0).
        filter: Resistance of the filter over that when new (>= 1).
        duct_off_at_fan, duct_off_at_hood, hose_off: What has come off.
    """

    crush: float = 0.0
    kink: float = 0.0
    leak: float = 0.0
    filter: float = 1.0
    duct_off_at_fan: bool = False
    duct_off_at_hood: bool = False
    hose_off: bool = False


class AirInLine(NamedTuple):
    """One instant of the air in the line; all of it negative where the air runs backwards.

    Attributes:
        fan_l_min: Airflow through fan and filter (L/min).
        hood_l_min: Airflow that arrives in the hood (L/min).
        hood_pa: Static pressure at the hood-end tap against the room (Pa).
        orifice_pa: Pressure across the orifice (Pa).
        filter_pa: Pressure across the filter (Pa).
    """

    fan_l_min: float
    hood_l_min: float
    hood_pa: float
    orifice_pa: float
    filter_pa: float


_STILL = AirInLine(0.0, 0.0, 0.0, 0.0, 0.0)


class Line:
    """A line in one state; setting another one recomputes its coefficients.

    Args:
        figures: The sound line.
    """

    def __init__(self, figures: LineFigures) -> None:
        self._figures = figures
        self._square = 1.0 / figures.normal_l_min**2
        self._power = 1.0 / figures.exponent
        self._sound_l_min = figures.normal_l_min / figures.normal_pa**figures.exponent
        self._shut_off_pa = figures.shut_off_pa
        self._state = LineState()
        self._adopt()

    @property
    def is_apart(self) -> bool:
        """Whether duct or hose has come off somewhere."""
        state = self._state
        return state.hose_off or state.duct_off_at_fan or state.duct_off_at_hood

    def set(self, state: LineState) -> None:
        """Take another state.

        Raises:
            ValueError: A part of it is outside its range.
        """
        if state == self._state:
            return
        for name, value in (("crushed", state.crush), ("kinked", state.kink)):
            if not 0.0 <= value <= 1.0:
                raise ValueError(f"a {name} part of {value} is outside 0 to 1")
        self._state = state
        self._adopt()

    def _adopt(self) -> None:
        """Compute the coefficients of the present state."""
        figures, state = self._figures, self._state
        self._last_given_pa, self._last = math.nan, _STILL
        self._per_l_min = figures.filter_pa / figures.normal_l_min * state.filter
        hose = self._sound_l_min * (1.0 - state.kink)
        if state.hose_off:
            hose /= (1.0 - _HOOD_SHARE) ** figures.exponent
        self._out_l_min = hose + state.leak * self._sound_l_min
        self._hood_part = hose / self._out_l_min if self._out_l_min else 0.0
        if self.is_apart:
            self._hood_part = 0.0
        self._is_open = state.duct_off_at_fan or state.duct_off_at_hood
        self._is_shut = self._closes(state)
        fan_square = self._shut_off_pa / figures.free_l_min**2
        self._per_square = fan_square + self._square * self._square_pa(state)

    def at(self, fan_speed: float, helping_pa: float = 0.0) -> AirInLine:
        """Return the air at a fan speed (1 is full) and a pressure that helps the fan (Pa).

        A wind that is stronger than the fan turns the air round. Every piece is taken to
        resist as much backwards as forwards, the fan's wheel as well (chosen).
        """
        given = self._shut_off_pa * fan_speed * fan_speed + helping_pa
        if given != self._last_given_pa:
            self._last_given_pa = given
            self._last = self._settled(given)
        return self._last

    def _settled(self, given_pa: float) -> AirInLine:
        if given_pa == 0.0 or self._is_shut:
            return _STILL
        if given_pa < 0.0:
            return AirInLine(*(-each for each in self._settled(-given_pa)))
        flow = self._balance(given_pa)
        figures = self._figures
        hood_pa = 0.0 if self._is_open else differential_pa(flow, self._out_l_min, figures.exponent)
        orifice_pa = figures.orifice_pa * self._square * flow * flow
        return AirInLine(flow, flow * self._hood_part, hood_pa, orifice_pa, self._per_l_min * flow)

    def _balance(self, given_pa: float) -> float:
        """Solve for the flow by Newton's way: the balance is convex and rises."""
        power = self._power
        scale = 0.0 if self._is_open else self._out_l_min**-power
        linear, square = self._per_l_min, self._per_square
        flow = math.sqrt(given_pa / (square + linear * linear / (4.0 * given_pa)))
        for _ in range(_MOST_STEPS):
            hose = scale * flow**power if scale else 0.0
            missing = (linear + square * flow) * flow + hose - given_pa
            slope = linear + 2.0 * square * flow + power * hose / flow
            step = missing / slope
            flow -= step
            if abs(step) <= _CLOSE_ENOUGH * flow:
                break
        return flow

    def _closes(self, state: LineState) -> bool:
        if state.duct_off_at_fan:
            return False
        shut_duct = state.crush == 1.0
        return shut_duct or (self._out_l_min == 0.0 and not self._is_open)

    def _square_pa(self, state: LineState) -> float:
        """Return the drop of all that is square in flow, at the normal flow (Pa)."""
        figures = self._figures
        if state.duct_off_at_fan:
            return figures.orifice_pa
        throat = figures.throat_pa * _loss_of(1.0 - state.crush) if state.crush < 1.0 else 0.0
        return figures.orifice_pa + figures.duct_pa + throat


def _loss_of(open_fraction: float) -> float:
    """Loss of a narrow place in velocity heads of the whole duct (1).

    Borda and Carnot's sudden enlargement behind a jet that contracts by Weisbach's
    0.62 + 0.38·a³ (both from memory).
    """
    jet = open_fraction * (0.62 + 0.38 * open_fraction**3)
    return (1.0 / jet - 1.0) ** 2
