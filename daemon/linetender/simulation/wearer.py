"""One invented person in a hood with an oximeter on the finger: what it shows, and when."""

import math
from collections import deque
from dataclasses import dataclass

from linetender.airline import hood
from linetender.simulation.blood import Blood
from linetender.simulation.gas_on_the_way import IntakeAir
from linetender.simulation.turbulence import Turbulence

STEP_NS = 100_000_000
"""The wearer moves on in steps of 0.1 s, at whole multiples, whenever it is asked."""

_STEP_S = STEP_NS / 1e9

ROOM_AIR = IntakeAir(hood.INTAKE_CO2_FRACTION, hood.INTAKE_O2_FRACTION, 0.0)
"""What is breathed without the hood, and what leaks into a hood that gets no air."""

_RESTING_PULSE_BPM = 60.0
_BPM_PER_L_MIN = 42.0
_BPM_PER_POINT = 1.2
"""Pulse at rest, its rise with oxygen uptake, and with each point of saturation lost (chosen)."""

_MOTION_PERCENT = 3.0
_MOTION_BPM = 12.0
"""Standard deviation that a shaking hand adds to what the oximeter shows (chosen)."""

_COLD_DELAY_S = 15.0
"""By how much a cold finger is later (chosen; cold fingers are known to be slow)."""


@dataclass(frozen=True)
class WearerFigures:
    """Attributes:
    hood_volume_l: Free volume of a small loose hood (L; chosen).
    leak_l_min: Room air that finds its way in when the line gives none (L/min; chosen).
    lung_to_finger_s: Time of the blood from lung to finger (s). Breath-hold studies in
        healthy people: 15.9 ± 2.6 s (pubmed 16204801).
    averaging_s: Time constant of the oximeter's own averaging (s; chosen).
    """

    hood_volume_l: float = 8.0
    leak_l_min: float = 10.0
    lung_to_finger_s: float = 16.0
    averaging_s: float = 8.0


class Wearer:
    """Hood, lungs, blood and finger.

    Args:
        seed: Any whole number, for the small unrest of the readings.
        ambient_pressure_pa: Air pressure of the place (Pa).
        uptake_l_min: Oxygen uptake at the beginning (L/min).
        figures: Hood and oximeter.

    Attributes:
        hood_is_on: Whether the hood is worn.
        uptake_l_min: Oxygen uptake (L/min); CO2 output goes with it.
        ventilation: Breathing over what the uptake asks for (1).
        motion: How much the hand shakes (0 to 1).
        cold: How cold the finger is (0 to 1).
        hood_o2_fraction, hood_co2_fraction: In what is breathed in.
    """

    def __init__(
        self,
        seed: int,
        ambient_pressure_pa: float,
        uptake_l_min: float = 0.576,
        figures: WearerFigures | None = None,
    ) -> None:
        self._figures = figures or WearerFigures()
        self.hood_is_on = False
        self.uptake_l_min = uptake_l_min
        self.ventilation = 1.0
        self.motion = self.cold = 0.0
        self.hood_o2_fraction = ROOM_AIR.o2_fraction
        self.hood_co2_fraction = ROOM_AIR.co2_fraction
        self._spo2_unrest = Turbulence(seed, channel=1, finest_ns=1_000_000_000, octaves=4)
        self._pulse_unrest = Turbulence(seed, channel=2, finest_ns=1_000_000_000, octaves=6)
        self._motion_unrest = Turbulence(seed, channel=3, finest_ns=1_000_000_000, octaves=3)
        self._blood = Blood(ambient_pressure_pa, ROOM_AIR.o2_fraction, uptake_l_min)
        percent = 100.0 * self._blood.saturation
        longest_s = self._figures.lung_to_finger_s + _COLD_DELAY_S
        steps = round(longest_s / _STEP_S)
        self._on_the_way = deque([percent] * steps, maxlen=steps)
        self._shown_percent = self._usual_percent = percent
        self._averaged = -math.expm1(-_STEP_S / self._figures.averaging_s)

    @property
    def co2_l_min(self) -> float:
        """Carbon dioxide given off (L/min)."""
        return self.uptake_l_min * hood.RESPIRATORY_QUOTIENT

    def step(self, airflow_l_min: float, intake: IntakeAir = ROOM_AIR) -> None:
        """Live for `STEP_NS` with an airflow into the hood (L/min) of an air.

        Where the line draws air out of the hood, as much comes in from the room.
        """
        self._fill_hood(airflow_l_min, intake)
        self._blood.step(_STEP_S, self.hood_o2_fraction, self.uptake_l_min, self.ventilation)
        self._on_the_way.append(100.0 * self._blood.saturation)
        delay_s = self._figures.lung_to_finger_s + _COLD_DELAY_S * self.cold
        at_finger = self._on_the_way[-max(1, round(delay_s / _STEP_S))]
        self._shown_percent += (at_finger - self._shown_percent) * self._averaged

    def spo2_percent(self, now_ns: int) -> float:
        """Return the saturation that the oximeter shows (%, before its rounding)."""
        shown = self._shown_percent + 0.3 * self._spo2_unrest.value(now_ns)
        if self.motion:
            # A shaken probe reads low far more often than high.
            shown -= abs(_MOTION_PERCENT * self.motion * self._motion_unrest.value(now_ns))
        return max(0.0, min(100.0, shown))

    def pulse_rate_bpm(self, now_ns: int) -> float:
        """Return the pulse rate that the oximeter shows (1/min, before its rounding)."""
        lost = max(0.0, self._usual_percent - self._shown_percent)
        unrest = 1.5 * self._pulse_unrest.value(now_ns)
        if self.motion:
            unrest += _MOTION_BPM * self.motion * self._motion_unrest.value(now_ns)
        working = _RESTING_PULSE_BPM + _BPM_PER_L_MIN * self.uptake_l_min
        return max(0.0, working + _BPM_PER_POINT * lost + unrest)

    def amplitude_index_percent(self) -> float:
        """Return the strength of the pulse at the finger (%)."""
        return 4.0 * (1.0 - self.cold) + 0.1

    def _fill_hood(self, airflow_l_min: float, intake: IntakeAir) -> None:
        if not self.hood_is_on:
            self.hood_o2_fraction = ROOM_AIR.o2_fraction
            self.hood_co2_fraction = ROOM_AIR.co2_fraction
            return
        inflow, brought = airflow_l_min, intake
        if airflow_l_min < self._figures.leak_l_min:
            inflow, brought = max(self._figures.leak_l_min, -airflow_l_min), ROOM_AIR
        self.hood_o2_fraction = self._after(
            self.hood_o2_fraction, -self.uptake_l_min, inflow, brought.o2_fraction
        )
        self.hood_co2_fraction = self._after(
            self.hood_co2_fraction, self.co2_l_min, inflow, brought.co2_fraction
        )

    def _after(self, before: float, source: float, inflow: float, brought: float) -> float:
        return hood.fraction_after(
            _STEP_S,
            initial_fraction=before,
            source_l_min=source,
            airflow_l_min=inflow,
            volume_l=self._figures.hood_volume_l,
            intake_fraction=brought,
        )
