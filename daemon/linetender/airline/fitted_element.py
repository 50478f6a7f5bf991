r"""A flow element that was calibrated where it stands: Q = k·Δp^n.

How k changes with the air. Over the range that a line uses, the friction factor
of a duct or hose follows a power of the Reynolds number, f ∝ Re^-m, with
Re = ρ·V·D/μ:

    Δp ∝ f·ρ·V²  ∝  ρ^(1-m) · μ^m · V^(2-m)

Solved for the flow, with n = 1/(2-m), that is m = 2 - 1/n:

    Q ∝ V ∝ Δp^n · ρ^-(1-m)n · μ^-mn  =  Δp^n · ρ^-(1-n) · μ^-(2n-1)

because (1-m)·n = 1 - n and m·n = 2n - 1. The ends are the known laws: n = 0.5
(m = 0: orifice, pitot, rough duct) gives Q ∝ √(Δp/ρ) whatever the viscosity;
n = 1 (m = 1: laminar) gives Q ∝ Δp/μ whatever the density; Blasius' smooth pipe
(m = 1/4) has n = 4/7.
"""

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

from linetender.airline.air_state import AirState
from linetender.airline.flow_element import Contribution, Flag, FlagKind, Source
from linetender.airline.quantity_checks import require_not_negative, require_positive

LEAST_EXPONENT = 0.5
GREATEST_EXPONENT = 1.0
"""Fully turbulent and laminar: no passive element lies outside."""


def airflow_l_min(differential_pa: float, k_l_min: float, exponent: float) -> float:
    """Return the airflow through the element.

    Args:
        differential_pa: Pressure across the element (Pa). At 0 or below there is no
            flow towards the hood: the result is 0.
        k_l_min: Calibration factor (L/min per Pa^n, > 0) at the density and viscosity
            of the present air; see `k_at_density`.
        exponent: n (1, 0.5 to 1).

    Returns:
        Actual airflow (L/min, >= 0) at the conditions of the element.

    Raises:
        ValueError: k or the exponent is outside its range, or something is not finite.
    """
    _check_element(k_l_min, exponent)
    if not math.isfinite(differential_pa):
        raise ValueError(f"pressure {differential_pa} Pa is not a finite number")
    if differential_pa <= 0.0:
        return 0.0
    # Annotated: a float power is typed Any because negative bases give complex numbers.
    powered: float = differential_pa**exponent
    return k_l_min * powered


def differential_pa(airflow_l_min: float, k_l_min: float, exponent: float) -> float:
    """Return the pressure (Pa, >= 0) at which this airflow (L/min) passes; 0 for no flow.

    The inverse of the function `airflow_l_min`, with the same arguments and errors.
    """
    _check_element(k_l_min, exponent)
    if not math.isfinite(airflow_l_min):
        raise ValueError(f"airflow {airflow_l_min} L/min is not a finite number")
    if airflow_l_min <= 0.0:
        return 0.0
    powered: float = (airflow_l_min / k_l_min) ** (1.0 / exponent)
    return powered


def k_at_density(
    k_l_min: float,
    exponent: float,
    density_kg_m3: float,
    reference_density_kg_m3: float,
    viscosity_ratio: float = 1.0,
) -> float:
    """Carry a calibration factor over to air of another density and viscosity.

    Args:
        k_l_min: Factor as calibrated (L/min per Pa^n, > 0).
        exponent: n (1, 0.5 to 1).
        density_kg_m3: Density of the present air (kg/m³, > 0).
        reference_density_kg_m3: Density of the air at the calibration (kg/m³, > 0).
        viscosity_ratio: Viscosity now over viscosity at the calibration (1, > 0).

    Returns:
        Factor for the present air (L/min per Pa^n, actual litres).

    Raises:
        ValueError: An argument is outside its range, or not finite.

    Source:
        Derived at the top of this file from f ∝ Re^-m.
    """
    _check_element(k_l_min, exponent)
    for name, given in (
        ("density", density_kg_m3),
        ("reference density", reference_density_kg_m3),
        ("viscosity ratio", viscosity_ratio),
    ):
        if not 0.0 < given < math.inf:
            raise ValueError(f"{name} {given} is not above 0")
    by_density: float = (density_kg_m3 / reference_density_kg_m3) ** (exponent - 1.0)
    by_viscosity: float = viscosity_ratio ** (1.0 - 2.0 * exponent)
    return k_l_min * by_density * by_viscosity


def _check_element(k_l_min: float, exponent: float) -> None:
    if not 0.0 < k_l_min < math.inf:
        raise ValueError(f"calibration factor {k_l_min} L/min per Pa^n is not above 0")
    if not LEAST_EXPONENT <= exponent <= GREATEST_EXPONENT:
        raise ValueError(
            f"exponent {exponent} is outside {LEAST_EXPONENT} (turbulent) to "
            f"{GREATEST_EXPONENT} (laminar)"
        )


class FitCovariance(NamedTuple):
    """How well a fit of ln Q = ln k + n·ln Δp determines its two constants.

    Attributes:
        ln_k: Variance of ln k (1, >= 0).
        ln_k_exponent: Covariance of ln k and n (1).
        exponent: Variance of n (1, >= 0).
    """

    ln_k: float
    ln_k_exponent: float
    exponent: float

    def relative_uncertainty(self, differential_pa: float) -> float:
        """Return the standard uncertainty of Q over Q (1) at a pressure (Pa, > 0)."""
        log = math.log(differential_pa)
        variance = self.ln_k + 2.0 * log * self.ln_k_exponent + log * log * self.exponent
        return math.sqrt(max(0.0, variance))


NO_COVARIANCE = FitCovariance(0.0, 0.0, 0.0)
"""For a calibration of which only one uncertainty of the flow is known."""


@dataclass(frozen=True, slots=True)
class CalibratedElement:
    """A flow element with its calibration, and the air in which that was made.

    Attributes:
        k_l_min: Factor as calibrated (L/min per Pa^n, > 0).
        exponent: n (1, 0.5 to 1).
        reference_air: Air at the calibration.
        method_relative: Standard uncertainty common to all points, of bag, stopwatch or
            anemometer, over the flow (1, >= 0).
        covariance: Of ln k and n; of the fit.
        least_pa: Least pressure of the calibration (Pa, >= 0).
        greatest_pa: Greatest pressure of the calibration (Pa).
    """

    k_l_min: float
    exponent: float
    reference_air: AirState
    method_relative: float
    covariance: FitCovariance = NO_COVARIANCE
    least_pa: float = 0.0
    greatest_pa: float = math.inf

    def __post_init__(self) -> None:
        _check_element(self.k_l_min, self.exponent)
        require_not_negative("uncertainty of the calibration", self.method_relative, "of flow")
        require_not_negative("variance of ln k", self.covariance.ln_k, "")
        require_not_negative("variance of n", self.covariance.exponent, "")
        if not 0.0 <= self.least_pa < self.greatest_pa:
            raise ValueError(
                f"calibrated from {self.least_pa} to {self.greatest_pa} Pa is not a range"
            )

    def airflow_l_min(self, differential_pa: float, air: AirState) -> float:
        """Return the actual airflow (L/min, >= 0) at a pressure (Pa) in this air.

        Raises:
            ValueError: The pressure is not finite.
        """
        return airflow_l_min(differential_pa, self._k_in(air), self.exponent)

    def differential_pa(self, airflow_l_min: float, air: AirState) -> float:
        """Return the pressure (Pa, >= 0) at an airflow (L/min) in this air.

        Raises:
            ValueError: The airflow is not finite.
        """
        return differential_pa(airflow_l_min, self._k_in(air), self.exponent)

    def flags(self, airflow_l_min: float, air: AirState) -> tuple[Flag, ...]:
        """Return whether an airflow (L/min) lies outside the calibrated pressures."""
        pressure = self.differential_pa(airflow_l_min, air)
        if self.least_pa <= pressure <= self.greatest_pa:
            return ()
        text = (
            f"{pressure:.3g} Pa is outside the calibration, "
            f"{self.least_pa:.3g} to {self.greatest_pa:.3g} Pa"
        )
        return (Flag(FlagKind.EXTRAPOLATED, text),)

    def own_contributions(self, airflow_l_min: float, air: AirState) -> tuple[Contribution, ...]:
        """Return calibration method and fit (L/min, standard)."""
        if airflow_l_min <= 0.0:
            return (Contribution(Source.CALIBRATION, 0.0),)
        fit = self.covariance.relative_uncertainty(self.differential_pa(airflow_l_min, air))
        relative = math.hypot(self.method_relative, fit)
        return (Contribution(Source.CALIBRATION, airflow_l_min * relative),)

    def for_pressures_times(self, factor: float) -> "CalibratedElement":
        """Return the same element for pressures that are told otherwise than when it was made.

        As when readings of a thermal sensor are corrected for another altitude since.

        Args:
            factor: A pressure as it is told now over the same as it was told then (1, > 0).

        Raises:
            ValueError: The factor is not above 0.
        """
        require_positive("factor of the pressures", factor, "")
        log, covariance = math.log(factor), self.covariance
        # ln Q = ln k + n·ln Δp stays the same with ln k' = ln k - n·ln f.
        powered: float = factor**-self.exponent
        return replace(
            self,
            k_l_min=self.k_l_min * powered,
            covariance=FitCovariance(
                covariance.ln_k
                - 2.0 * log * covariance.ln_k_exponent
                + log * log * covariance.exponent,
                covariance.ln_k_exponent - log * covariance.exponent,
                covariance.exponent,
            ),
            least_pa=self.least_pa * factor,
            greatest_pa=self.greatest_pa * factor,
        )

    def _k_in(self, air: AirState) -> float:
        reference = self.reference_air
        viscosity_ratio = air.viscosity_pa_s / reference.viscosity_pa_s
        return k_at_density(
            self.k_l_min,
            self.exponent,
            air.density_kg_m3,
            reference.density_kg_m3,
            viscosity_ratio,
        )
