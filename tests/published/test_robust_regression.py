"""Robust regression and Fieller's interval against published results and scipy.

Data: Brownlee's stack loss, K. A. Brownlee, Statistical Theory and Methodology in Science and
Engineering, 2nd ed., Wiley 1965, p. 454 (21 days of a plant that oxidises ammonia), as
statistics packages carry it. The coefficients by Huber's M-estimate with a tuning of 1.345 are
those of the manual of the Python package statsmodels (its page "Robust Linear Models"); their
standard errors, likewise from there, are quoted from memory.
"""

import numpy as np
import pytest
from scipy import optimize, stats

from linetender.airline.robust_fit import CannotSolve, crossing, fit_robustly, student_t

AIR_FLOW = [80, 80, 75, 62, 62, 62, 62, 62, 58, 58, 58, 58, 58, 58, 50, 50, 50, 50, 50, 56, 70]
WATER = [27, 27, 25, 24, 22, 23, 24, 24, 23, 18, 18, 17, 18, 19, 18, 18, 19, 19, 20, 20, 20]
ACID = [89, 88, 90, 87, 87, 87, 93, 93, 87, 80, 89, 88, 82, 93, 89, 86, 72, 79, 80, 82, 91]
LOSS = [42, 37, 37, 28, 18, 18, 19, 20, 15, 14, 14, 13, 11, 12, 8, 7, 8, 8, 9, 15, 15]


def test_stack_loss_by_hubers_estimate() -> None:
    rows = [
        (1.0, float(a), float(w), float(c)) for a, w, c in zip(AIR_FLOW, WATER, ACID, strict=True)
    ]
    fit = fit_robustly(rows, [float(y) for y in LOSS])
    assert fit.coefficients == pytest.approx((-41.026498, 0.829384, 0.926066, -0.127847), rel=2e-5)
    errors = [fit.covariance[i][i] ** 0.5 for i in range(4)]
    assert errors == pytest.approx([9.791899, 0.111005, 0.302930, 0.128650], rel=2e-5)
    assert fit.freedom == 17
    assert fit.weights[20] < 0.5, "the last day is the known outlier"


@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 5, 8, 17, 60])
@pytest.mark.parametrize("probability", [0.9, 0.95, 0.975])
def test_students_t_is_scipys(probability: float, freedom: int) -> None:
    expected = stats.t.ppf(probability, freedom)
    assert student_t(probability, freedom) == pytest.approx(expected, rel=3e-3)


def test_without_wild_points_it_is_least_squares() -> None:
    """A point beyond 1.345 scales would count less; on an even zigzag there is none."""
    hours = [float(h) for h in range(0, 40, 4)]
    values = [1.0 + 0.01 * h + 0.004 * (-1) ** (int(h) // 4) for h in hours]
    fit = fit_robustly([(1.0, h) for h in hours], values)
    ours = stats.linregress(hours, values)
    assert fit.coefficients == pytest.approx((ours.intercept, ours.slope), rel=1e-9)
    # Huber's covariance is that of least squares where no point is weighted down.
    assert fit.weights == (1.0,) * len(hours)
    assert fit.covariance[1][1] ** 0.5 == pytest.approx(ours.stderr, rel=1e-9)


def test_fiellers_ends_are_where_the_confidence_band_meets_the_limit() -> None:
    """The ends solved for numerically, from the band of least squares as handbooks give it."""
    hours = [float(h) for h in range(0, 40, 4)]
    values = [1.0 + 0.01 * h + 0.02 * (-1) ** (int(h) // 4) for h in hours]
    fit = fit_robustly([(1.0, h) for h in hours], values)
    line, mean = stats.linregress(hours, values), float(np.mean(hours))
    spread = float(np.sum((np.array(hours) - mean) ** 2))
    residuals = np.array(values) - (line.intercept + line.slope * np.array(hours))
    noise = float(np.sqrt(np.sum(residuals**2) / (len(hours) - 2)))
    t = student_t(0.95, len(hours) - 2)

    def band(h: float, side: float) -> float:
        half = t * noise * (1.0 / len(hours) + (h - mean) ** 2 / spread) ** 0.5
        return float(line.intercept + line.slope * h + side * half - 2.0)

    found = crossing(fit, (1.0, 0.0), (0.0, 1.0), 2.0)
    assert found.at == pytest.approx((2.0 - line.intercept) / line.slope, rel=1e-9)
    assert found.low == pytest.approx(optimize.brentq(lambda h: band(h, 1.0), 50, 100), rel=1e-9)
    assert found.high == pytest.approx(optimize.brentq(lambda h: band(h, -1.0), 100, 400), rel=1e-9)


def test_a_slope_that_may_be_none_has_no_upper_end() -> None:
    hours = [float(h) for h in range(8)]
    values = [1.0, 1.2, 0.8, 1.1, 0.9, 1.15, 0.95, 1.1]
    found = crossing(fit_robustly([(1.0, h) for h in hours], values), (1.0, 0.0), (0.0, 1.0), 2.0)
    assert found.high is None
    assert found.low is not None and found.low > 8.0


@pytest.mark.parametrize("rows", [[], [(1.0, 2.0)], [(1.0, 2.0)] * 4, [(1.0, 0.0)] * 3], ids=str)
def test_points_that_determine_nothing_are_refused(rows: list[tuple[float, ...]]) -> None:
    with pytest.raises(CannotSolve):
        fit_robustly(rows, [1.0 + i for i in range(len(rows))])
