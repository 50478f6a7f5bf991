"""Fit k and n of Q = k·Δp^n to flow points, or say why they do not determine it.

Weighted least squares of ln Q on ln Δp. Each point's weight comes from what is known
of its errors; those of the pressure count by n·u(Δp)/Δp (effective variance). The
covariance is that of the known errors. Where the points scatter clearly more than
these explain, it is widened by the ratio (Birge's). What all points share, the bag or
the anemometer, is no part of the fit.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from linetender.airline.fitted_element import (
    GREATEST_EXPONENT,
    LEAST_EXPONENT,
    FitCovariance,
)
from linetender.airline.quantity_checks import require_not_negative, require_positive

LEAST_POINTS = 4
"""Fewer cannot show which one is wrong when one is (three lines through three pairs)."""

LEAST_SETTINGS = 3
SAME_SETTING = 0.10
"""Pressures that differ by less than this part are one setting of the line (chosen)."""

LEAST_SPAN = 2.0
"""Greatest over least pressure (chosen): 1.4 times the flow."""

OUTLIER_UNCERTAINTIES = 4.0
OUTLIER_RELATIVE = 0.15
"""A point is a mistake when it lies this many uncertainties and this part of the flow from
what the others say (chosen): mere carelessness widens the uncertainty instead."""

EXPONENT_UNCERTAINTIES = 3.0
"""An exponent so many uncertainties outside 0.5 to 1 is none of a passive element (chosen)."""

GREATEST_RELATIVE = 0.05
"""Standard uncertainty that the fit may leave on the flow, over it (chosen)."""

_FIRST_EXPONENT = 0.55


class CannotFit(ValueError):
    """The points do not determine the fit.

    Attributes:
        reasons: Each in a sentence with figures, at least one.
        outlier: Place of the one point that contradicts all others, from 0, or None.
    """

    def __init__(self, reasons: Sequence[str], outlier: int | None = None) -> None:
        super().__init__(" ".join(reasons))
        self.reasons = tuple(reasons)
        self.outlier = outlier


@dataclass(frozen=True, slots=True)
class FlowPoint:
    """One airflow with the pressure that the sensor read at it.

    Attributes:
        differential_pa: True pressure (Pa, > 0).
        differential_uncertainty_pa: Standard uncertainty by scatter (Pa, >= 0).
        airflow_l_min: Airflow measured by other means (L/min, > 0).
        random_relative: Its standard uncertainty that differs from point to point, over
            the flow (1, > 0).
    """

    differential_pa: float
    differential_uncertainty_pa: float
    airflow_l_min: float
    random_relative: float

    def __post_init__(self) -> None:
        require_positive("pressure of a flow point", self.differential_pa, "Pa")
        require_not_negative("its uncertainty", self.differential_uncertainty_pa, "Pa")
        require_positive("airflow of a flow point", self.airflow_l_min, "L/min")
        require_positive("its uncertainty", self.random_relative, "of flow")

    def variance(self, exponent: float) -> float:
        """Return the variance of ln Q about a line of slope n."""
        by_pressure = exponent * self.differential_uncertainty_pa / self.differential_pa
        return self.random_relative**2 + by_pressure**2


@dataclass(frozen=True, slots=True)
class Fit:
    """The line through the points.

    Attributes:
        ln_k: ln of k (k in L/min per Pa^n).
        exponent: n (1, 0.5 to 1).
        covariance: Of ln k and n, widened where the points scatter.
        residuals: ln Q of each point less that of the fit, in the order of the points;
            times 100 nearly the difference in %.
        widening: By what the uncertainties were multiplied for the points' scatter (1, >= 1).
        least_pa: Least pressure of the points (Pa).
        greatest_pa: Greatest (Pa).
    """

    ln_k: float
    exponent: float
    covariance: FitCovariance
    residuals: tuple[float, ...]
    widening: float
    least_pa: float
    greatest_pa: float

    @property
    def k_l_min(self) -> float:
        """K (L/min per Pa^n)."""
        return math.exp(self.ln_k)


def fit_points(points: Sequence[FlowPoint]) -> Fit:
    """Fit k and n.

    Args:
        points: At least four, at three or more clearly different settings of the line;
            repeats at one setting are points of their own.

    Raises:
        CannotFit: The points do not determine k and n, contradict each other, or give an
            exponent that no passive element has.
    """
    reasons = _lacking(points)
    if reasons:
        raise CannotFit(reasons)
    outlier = _outlier(points)
    if outlier is not None:
        raise CannotFit([outlier[1]], outlier[0])
    line = _line(points)
    fit = _settled(line, points)
    reasons = _doubts(line, fit)
    if reasons:
        raise CannotFit(reasons)
    return fit


@dataclass(frozen=True, slots=True)
class _Line:
    """Weighted least squares, before anything is judged."""

    centre_x: float
    centre_y: float
    slope: float
    weight: float
    spread: float

    def at(self, x: float) -> float:
        return self.centre_y + self.slope * (x - self.centre_x)

    def variance(self, x: float) -> float:
        return 1.0 / self.weight + (x - self.centre_x) ** 2 / self.spread


def _line(points: Sequence[FlowPoint]) -> _Line:
    xs, ys = _logs(points)
    slope = _FIRST_EXPONENT
    for _ in range(3):  # the weights depend on the slope, and only a little
        weights = [1.0 / point.variance(slope) for point in points]
        total = math.fsum(weights)
        centre_x = math.fsum(w * x for w, x in zip(weights, xs, strict=True)) / total
        centre_y = math.fsum(w * y for w, y in zip(weights, ys, strict=True)) / total
        spread = math.fsum(w * (x - centre_x) ** 2 for w, x in zip(weights, xs, strict=True))
        slope = (
            math.fsum(
                w * (x - centre_x) * (y - centre_y) for w, x, y in zip(weights, xs, ys, strict=True)
            )
            / spread
        )
    return _Line(centre_x, centre_y, slope, total, spread)


def _logs(points: Sequence[FlowPoint]) -> tuple[list[float], list[float]]:
    xs = [math.log(point.differential_pa) for point in points]
    return xs, [math.log(point.airflow_l_min) for point in points]


def _lacking(points: Sequence[FlowPoint]) -> list[str]:
    """Say what is missing before a line can be drawn at all."""
    if not points:
        return ["There is no flow point."]
    pressures = sorted(point.differential_pa for point in points)
    settings = 1
    last = pressures[0]
    for pressure in pressures:
        if pressure > last * (1.0 + SAME_SETTING):
            settings, last = settings + 1, pressure
    reasons = []
    if len(points) < LEAST_POINTS:
        too_few = "1 point is" if len(points) == 1 else f"{len(points)} points are"
        reasons.append(f"{too_few} too few: {LEAST_POINTS} at least are needed.")
    if settings < LEAST_SETTINGS:
        reasons.append(
            f"The points stand at {settings} setting{'s' if settings > 1 else ''} of the line "
            f"({_listed(pressures)} Pa): {LEAST_SETTINGS} are needed that differ by "
            f"{100 * SAME_SETTING:.0f} % of pressure or more. Throttle the line in between."
        )
    span = pressures[-1] / pressures[0]
    if settings >= LEAST_SETTINGS and span < LEAST_SPAN:
        reasons.append(
            f"The pressures span too little: {pressures[0]:.3g} to {pressures[-1]:.3g} Pa is a "
            f"factor of {span:.2f}, {LEAST_SPAN:g} at least is needed. Throttle the line further."
        )
    return reasons


def _listed(pressures: Sequence[float]) -> str:
    return ", ".join(f"{pressure:.4g}" for pressure in pressures)


def _outlier(points: Sequence[FlowPoint]) -> tuple[int, str] | None:
    """Name the point that contradicts the others, if one does; each is left out in turn."""
    xs, ys = _logs(points)
    worst: tuple[float, int, float, float] | None = None
    for place, point in enumerate(points):
        rest = [*points[:place], *points[place + 1 :]]
        if len({other.differential_pa for other in rest}) < 2:
            continue
        line = _line(rest)
        off = ys[place] - line.at(xs[place])
        doubt = math.sqrt(point.variance(line.slope) + line.variance(xs[place]))
        left = _chi_square(line, rest)
        if worst is None or left < worst[0]:
            worst = (left, place, off, abs(off) / doubt)
    if worst is None:
        return None
    _, place, off, uncertainties = worst
    if uncertainties < OUTLIER_UNCERTAINTIES or abs(off) < OUTLIER_RELATIVE:
        return None
    point = points[place]
    return place, (
        f"Point {place + 1} ({point.differential_pa:.3g} Pa, {point.airflow_l_min:.4g} L/min) "
        f"contradicts the others: they say {point.airflow_l_min / math.exp(off):.4g} L/min there, "
        f"{uncertainties:.0f} uncertainties away, a factor of {math.exp(abs(off)):.2g}. Was a "
        "number mistyped? Measure that point again."
    )


def _chi_square(line: _Line, points: Sequence[FlowPoint]) -> float:
    xs, ys = _logs(points)
    return math.fsum(
        (y - line.at(x)) ** 2 / point.variance(line.slope)
        for point, x, y in zip(points, xs, ys, strict=True)
    )


def _settled(line: _Line, points: Sequence[FlowPoint]) -> Fit:
    """Make the fit of a line: exponent inside its bounds, uncertainty widened if need be."""
    xs, ys = _logs(points)
    freedom = len(points) - 2
    chi_square = _chi_square(line, points)
    # Mean plus two standard deviations of chi-square: passed once in some 25 times by chance.
    is_wide = chi_square > freedom + 2.0 * math.sqrt(2.0 * freedom)
    widening = math.sqrt(chi_square / freedom) if is_wide else 1.0
    exponent = min(max(line.slope, LEAST_EXPONENT), GREATEST_EXPONENT)
    ln_k = line.centre_y - exponent * line.centre_x
    scale = widening * widening
    covariance = FitCovariance(
        ln_k=scale * (1.0 / line.weight + line.centre_x**2 / line.spread),
        ln_k_exponent=-scale * line.centre_x / line.spread,
        exponent=scale / line.spread,
    )
    residuals = tuple(y - ln_k - exponent * x for x, y in zip(xs, ys, strict=True))
    pressures = [point.differential_pa for point in points]
    return Fit(ln_k, exponent, covariance, residuals, widening, min(pressures), max(pressures))


def _doubts(line: _Line, fit: Fit) -> list[str]:
    """Say what is wrong with a line that could be drawn."""
    reasons = []
    doubt = math.sqrt(fit.covariance.exponent)
    if abs(line.slope - fit.exponent) > EXPONENT_UNCERTAINTIES * doubt:
        reasons.append(
            f"The exponent comes out as {line.slope:.2f} ± {doubt:.2f}; {LEAST_EXPONENT:g} to "
            f"{GREATEST_EXPONENT:g} is possible. Is a tap tube leaking, the zero off, or the "
            "airflow measured elsewhere than the pressure?"
        )
    ends = (fit.least_pa, fit.greatest_pa)
    worst = max(fit.covariance.relative_uncertainty(pressure) for pressure in ends)
    if worst > GREATEST_RELATIVE:
        reasons.append(
            f"The points scatter so much that the fit leaves the flow uncertain by "
            f"{100 * worst:.0f} % (one standard deviation); {100 * GREATEST_RELATIVE:.0f} % at "
            "most is useful. Repeat each point more often, with more care."
        )
    return reasons
