"""A wearer, first form: what an oximeter shows as the air in the hood changes.

Kept simple on purpose: oxygen in the hood, one lag for the lungs, the dissociation
curve, a delay from lung to finger, and the oximeter's averaging. There is no store
of oxygen in blood and tissue, no CO2 drive to breathe and no shift of the curve, so
that saturation falls sooner here than in a person; it serves to show that an oximeter
trails by half a minute, not to judge a limit for oxygen.
"""

import math
from collections import deque

from linetender.airline import hood
from linetender.simulation.turbulence import Turbulence

STEP_NS = 100_000_000
"""The wearer moves on in steps of 0.1 s, at whole multiples, whenever it is asked."""

_STEP_S = STEP_NS / 1e9

CO2_L_MIN = 0.49
"""Light work, 2 met, at 20 °C (Persily and de Jonge 2017, table 4: 0.0076 L/s at 0 °C)."""

HOOD_VOLUME_L = 8.0
"""Free volume of a small loose hood (chosen)."""

LEAK_L_MIN = 10.0
"""Room air that finds its way into the hood when the line gives none (chosen)."""

LUNG_LAG_S = 15.0
"""2.5 L of lung air renewed at 10 L/min (chosen)."""

LUNG_TO_FINGER_S = 16.0
"""Breath-hold studies in healthy people: 15.9 ± 2.6 s (pubmed 16204801)."""

AVERAGING_S = 8.0
"""Time constant of the oximeter's own averaging (chosen)."""

_PA_PER_MMHG = 133.322
_WATER_MMHG = 47.0
"""Water vapour at 37 °C (physiology textbooks, from memory)."""

_ALVEOLAR_CO2_MMHG = 40.0
_ALVEOLAR_ARTERIAL_MMHG = 6.0
"""Usual CO2 in young lungs, and what oxygen loses on its way to the artery (from memory)."""

_RESTING_PULSE_BPM = 84.0
_BPM_PER_POINT = 1.2
"""Pulse at light work, and its rise for each point of saturation lost (chosen)."""


class Wearer:
    """Lungs, blood and finger of one invented person, with an oximeter on the finger.

    Args:
        seed: Any whole number, for the small unrest of the readings.
        ambient_pressure_pa: Air pressure of the place (Pa).
    """

    def __init__(self, seed: int, ambient_pressure_pa: float) -> None:
        self._ambient_pressure_pa = ambient_pressure_pa
        self.hood_is_on = False
        self.hood_o2_fraction = hood.INTAKE_O2_FRACTION
        self._spo2_unrest = Turbulence(seed, channel=1, finest_ns=1_000_000_000, octaves=4)
        self._pulse_unrest = Turbulence(seed, channel=2, finest_ns=1_000_000_000, octaves=6)
        self._arterial_mmhg = arterial_oxygen_mmhg(self.hood_o2_fraction, ambient_pressure_pa)
        saturation = saturation_percent(self._arterial_mmhg)
        self._on_the_way = deque([saturation] * round(LUNG_TO_FINGER_S / _STEP_S))
        self._shown_percent = saturation
        self._usual_percent = saturation

    def step(self, airflow_l_min: float) -> None:
        """Live for `STEP_NS` with an airflow into the hood (L/min, >= 0)."""
        self._breathe(airflow_l_min)
        target = arterial_oxygen_mmhg(self.hood_o2_fraction, self._ambient_pressure_pa)
        self._arterial_mmhg += (target - self._arterial_mmhg) * _part_of(LUNG_LAG_S)
        self._on_the_way.append(saturation_percent(self._arterial_mmhg))
        at_finger = self._on_the_way.popleft()
        self._shown_percent += (at_finger - self._shown_percent) * _part_of(AVERAGING_S)

    def spo2_percent(self, now_ns: int) -> float:
        """Return the saturation that the oximeter shows (%, before its rounding)."""
        return min(100.0, self._shown_percent + 0.3 * self._spo2_unrest.value(now_ns))

    def pulse_rate_bpm(self, now_ns: int) -> float:
        """Return the pulse rate that the oximeter shows (1/min, before its rounding)."""
        lost = max(0.0, self._usual_percent - self._shown_percent)
        unrest = 1.5 * self._pulse_unrest.value(now_ns)
        return _RESTING_PULSE_BPM + _BPM_PER_POINT * lost + unrest

    def _breathe(self, airflow_l_min: float) -> None:
        if not self.hood_is_on:
            self.hood_o2_fraction = hood.INTAKE_O2_FRACTION
            return
        self.hood_o2_fraction = hood.fraction_after(
            _STEP_S,
            initial_fraction=self.hood_o2_fraction,
            source_l_min=-hood.oxygen_uptake_l_min(CO2_L_MIN),
            airflow_l_min=max(airflow_l_min, LEAK_L_MIN),
            volume_l=HOOD_VOLUME_L,
            intake_fraction=hood.INTAKE_O2_FRACTION,
        )


def arterial_oxygen_mmhg(inspired_fraction: float, ambient_pressure_pa: float) -> float:
    """Return the oxygen pressure in the artery (mmHg, >= 0) after long breathing of a gas.

    The alveolar gas equation in its short form (physiology textbooks, from memory).

    Args:
        inspired_fraction: Fraction of oxygen in the gas breathed (0 to 1).
        ambient_pressure_pa: Air pressure of the place (Pa).
    """
    inspired = inspired_fraction * (ambient_pressure_pa / _PA_PER_MMHG - _WATER_MMHG)
    alveolar = inspired - _ALVEOLAR_CO2_MMHG / hood.RESPIRATORY_QUOTIENT
    return max(0.0, alveolar - _ALVEOLAR_ARTERIAL_MMHG)


def saturation_percent(oxygen_mmhg: float) -> float:
    """Return the saturation of haemoglobin (%) at an oxygen pressure (mmHg, >= 0).

    Source:
        Severinghaus, J Appl Physiol 46 (1979) 599: 37 °C, pH 7.4, fits within 0.55 points.
    """
    if oxygen_mmhg <= 0.0:
        return 0.0
    cubic = oxygen_mmhg * oxygen_mmhg * oxygen_mmhg + 150.0 * oxygen_mmhg
    return 100.0 / (23_400.0 / cubic + 1.0)


def _part_of(lag_s: float) -> float:
    """Part of the way that a lag goes in one step."""
    return -math.expm1(-_STEP_S / lag_s)
