"""What the wearer's gas exchange does to the air in a hood, in closed form.

One well-mixed volume V, fed by a flow Q of intake air:

    V·dC/dt = s + Q·(C_in - C)

with the source s: CO2 given off (> 0), or oxygen taken up (< 0). Exhaled air stays
near the mouth, so that times from a well-mixed model are somewhat too long.
Fractions are volume over volume (0 to 1): 10 000 ppm is 0.01.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

from linetender.airline.quantity_checks import require_not_negative, require_positive

INTAKE_CO2_FRACTION = 420e-6
"""CO2 in outdoor air (chosen: about the world's mean of the 2020s)."""

INTAKE_O2_FRACTION = 0.209
"""Oxygen in outdoor air that holds a little moisture (dry air: 0.2095)."""

RESPIRATORY_QUOTIENT = 0.85
"""CO2 given off over oxygen taken up, mixed diet (1)."""

_SECONDS_PER_MINUTE = 60.0

_TOO_SMALL_TO_MATTER = 1e-15
"""Under this part of the way to the steady state, the flow changes no digit of the time."""


def steady_fraction(source_l_min: float, airflow_l_min: float, intake_fraction: float) -> float:
    """Return the fraction of a gas in the hood after a long time in flow.

    Args:
        source_l_min: Gas given off (L/min); negative for gas taken up.
        airflow_l_min: Airflow into the hood (L/min, > 0).
        intake_fraction: Fraction of the gas in that air.

    Raises:
        ValueError: The airflow is not above 0: there is no steady state.
    """
    if not airflow_l_min > 0.0:
        raise ValueError(f"airflow {airflow_l_min} L/min is not above 0: no steady state")
    return intake_fraction + source_l_min / airflow_l_min


def fraction_after(
    seconds: float,
    *,
    initial_fraction: float,
    source_l_min: float,
    airflow_l_min: float,
    volume_l: float,
    intake_fraction: float,
) -> float:
    """Return the fraction of a gas in the hood some time later (washout, or build-up).

    Args:
        seconds: Time passed (s, >= 0).
        initial_fraction: Fraction at the beginning.
        source_l_min: Gas given off (L/min); negative for gas taken up.
        airflow_l_min: Airflow into the hood (L/min, >= 0); 0 is a sealed hood.
        volume_l: Free volume of the hood (L, > 0).
        intake_fraction: Fraction of the gas in the air that flows in.

    Raises:
        ValueError: The volume is not above 0, or the airflow is negative.
    """
    _check(airflow_l_min, volume_l)
    minutes = seconds / _SECONDS_PER_MINUTE
    net_l_min = source_l_min + airflow_l_min * (intake_fraction - initial_fraction)
    exchanged = airflow_l_min * minutes / volume_l
    # Written so that it runs smoothly into the sealed hood as the airflow goes to 0.
    slowing = -math.expm1(-exchanged) / exchanged if exchanged else 1.0
    return initial_fraction + net_l_min * minutes / volume_l * slowing


def seconds_to(
    limit_fraction: float,
    *,
    initial_fraction: float,
    source_l_min: float,
    airflow_l_min: float,
    volume_l: float,
    intake_fraction: float,
) -> float:
    """Return the time until a gas that builds up (or runs short) reaches a limit.

    Rising with a source above 0, falling with one below 0.

    Args:
        limit_fraction: The limit.
        initial_fraction: Fraction at the beginning.
        source_l_min: Gas given off (L/min, > 0) or taken up (< 0).
        airflow_l_min: Airflow into the hood (L/min, >= 0); 0 is a sealed hood.
        volume_l: Free volume of the hood (L, > 0).
        intake_fraction: Fraction of the gas in the air that flows in.

    Returns:
        Time (s); 0 where the limit is reached or passed already; `math.inf` where the
        steady state never reaches it.

    Raises:
        ValueError: The volume is not above 0, the airflow is negative, or the source
            is 0: nothing builds up or runs short.
    """
    _check(airflow_l_min, volume_l)
    if source_l_min == 0.0:
        raise ValueError("a source of 0 L/min: nothing builds up or runs short")
    to_go = limit_fraction - initial_fraction
    if (to_go <= 0.0) if source_l_min > 0.0 else (to_go >= 0.0):
        return 0.0
    net_l_min = source_l_min + airflow_l_min * (intake_fraction - initial_fraction)
    if net_l_min * source_l_min <= 0.0:
        return math.inf
    undelayed_s = _SECONDS_PER_MINUTE * volume_l * to_go / net_l_min
    return undelayed_s * _lengthening(airflow_l_min * to_go / net_l_min)


def fraction_while_coasting(
    seconds: float,
    *,
    initial_fraction: float,
    source_l_min: float,
    airflow_l_min: float,
    tau_s: float,
    volume_l: float,
    intake_fraction: float,
) -> float:
    """Return the fraction of a gas while a fan without power runs down.

    The airflow falls as Q/(1 + t/τ). With u = t/τ and a = Q·τ/V the balance has the
    integrating factor (1 + u)^a, and

        C = C_in + (C0 - C_in)·(1+u)^-a + s·τ/(V·(a+1))·((1+u) - (1+u)^-a)

    Args:
        seconds: Time since the power went (s, >= 0).
        initial_fraction: Fraction at that moment.
        source_l_min: Gas given off (L/min); negative for gas taken up.
        airflow_l_min: Airflow at that moment (L/min, >= 0).
        tau_s: Time to half speed (s, > 0).
        volume_l: Free volume of the hood (L, > 0).
        intake_fraction: Fraction of the gas in the air that flows in.

    Raises:
        ValueError: An argument is outside its range.
    """
    _check(airflow_l_min, volume_l)
    require_not_negative("time", seconds, "s")
    require_positive("coast-down time", tau_s, "s")
    grown = 1.0 + seconds / tau_s
    exponent = airflow_l_min * tau_s / _SECONDS_PER_MINUTE / volume_l
    kept: float = grown**-exponent
    given_off = source_l_min * tau_s / _SECONDS_PER_MINUTE / volume_l * (grown - kept)
    left = (initial_fraction - intake_fraction) * kept
    return intake_fraction + left + given_off / (exponent + 1.0)


def oxygen_uptake_l_min(co2_l_min: float) -> float:
    """Return the oxygen uptake (L/min) that goes with a CO2 output (L/min)."""
    return co2_l_min / RESPIRATORY_QUOTIENT


class HoodGas(NamedTuple):
    """What is in the hood.

    Attributes:
        co2_fraction: CO2 (0 to 1).
        o2_fraction: Oxygen (0 to 1).
    """

    co2_fraction: float
    o2_fraction: float


OUTDOOR_AIR = HoodGas(INTAKE_CO2_FRACTION, INTAKE_O2_FRACTION)
"""What an intake outdoors brings."""


@dataclass(frozen=True, slots=True)
class WornHood:
    """A hood and its wearer, in flow and after the air stops.

    Attributes:
        volume_l: Free volume (L, > 0).
        co2_l_min: CO2 output of the wearer (L/min, > 0).
        leakage_l_min: Air that still comes in once the flow is gone (L/min, >= 0). It
            is the room's: it dilutes CO2, and brings in what the hood keeps out.
        intake: What the air that flows in holds.
    """

    volume_l: float
    co2_l_min: float
    leakage_l_min: float = 0.0
    intake: HoodGas = OUTDOOR_AIR

    def __post_init__(self) -> None:
        require_positive("hood volume", self.volume_l, "L")
        require_positive("CO2 output", self.co2_l_min, "L/min")
        require_not_negative("leakage", self.leakage_l_min, "L/min")

    def in_flow(self, airflow_l_min: float) -> HoodGas:
        """Return the steady state at an airflow (L/min, > 0).

        Raises:
            ValueError: The airflow is not above 0.
        """
        return HoodGas(
            steady_fraction(self.co2_l_min, airflow_l_min, self.intake.co2_fraction),
            steady_fraction(-self._o2_l_min, airflow_l_min, self.intake.o2_fraction),
        )

    def after_stop(self, seconds: float, airflow_before_l_min: float) -> HoodGas:
        """Return the gases some time (s) after an airflow (L/min, > 0) stopped at once.

        Raises:
            ValueError: The airflow is not above 0.
        """
        before = self.in_flow(airflow_before_l_min)
        sources = (self.co2_l_min, -self._o2_l_min)
        co2, o2 = (
            fraction_after(
                seconds,
                initial_fraction=start,
                source_l_min=source,
                airflow_l_min=self.leakage_l_min,
                volume_l=self.volume_l,
                intake_fraction=intake,
            )
            for start, source, intake in zip(before, sources, self.intake, strict=True)
        )
        return HoodGas(co2, o2)

    def seconds_to_co2(self, limit_fraction: float, airflow_before_l_min: float) -> float:
        """Return the time (s) from the stop until CO2 reaches a limit; inf for never.

        Raises:
            ValueError: The airflow is not above 0.
        """
        return seconds_to(
            limit_fraction,
            initial_fraction=self.in_flow(airflow_before_l_min).co2_fraction,
            source_l_min=self.co2_l_min,
            airflow_l_min=self.leakage_l_min,
            volume_l=self.volume_l,
            intake_fraction=self.intake.co2_fraction,
        )

    def seconds_to_o2(self, limit_fraction: float, airflow_before_l_min: float) -> float:
        """Return the time (s) from the stop until oxygen falls to a limit; inf for never.

        Raises:
            ValueError: The airflow is not above 0.
        """
        return seconds_to(
            limit_fraction,
            initial_fraction=self.in_flow(airflow_before_l_min).o2_fraction,
            source_l_min=-self._o2_l_min,
            airflow_l_min=self.leakage_l_min,
            volume_l=self.volume_l,
            intake_fraction=self.intake.o2_fraction,
        )

    @property
    def _o2_l_min(self) -> float:
        return oxygen_uptake_l_min(self.co2_l_min)


def _lengthening(way_gone: float) -> float:
    """By how much an approach that slows down takes longer than one that does not (1).

    Args:
        way_gone: Part of the way to the steady state (over 0); it ends there, at 1.
    """
    if way_gone >= 1.0:
        return math.inf
    if way_gone < _TOO_SMALL_TO_MATTER:
        return 1.0
    return -math.log1p(-way_gone) / way_gone


def _check(airflow_l_min: float, volume_l: float) -> None:
    if not 0.0 < volume_l < math.inf:
        raise ValueError(f"hood volume {volume_l} L is not above 0")
    if not 0.0 <= airflow_l_min < math.inf:
        raise ValueError(f"airflow {airflow_l_min} L/min is negative or not finite")
