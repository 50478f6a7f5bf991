"""The weighted straight line against numpy's, on points with unequal errors.

`numpy.polyfit(x, y, 1, w=1/u, cov="unscaled")` is the independent implementation: it
solves by singular values, ours by sums about the weighted centre.
"""

import numpy as np
import pytest

from linetender.airline.calibration_fit import FlowPoint, fit_points

PRESSURES_PA = np.array([11.4, 16.0, 21.1, 31.8, 31.8, 46.2, 60.0, 60.0])
FLOWS_L_MIN = np.array([102.9, 120.1, 143.5, 176.0, 179.8, 214.1, 254.0, 247.7])
RELATIVE = np.array([0.021, 0.024, 0.02, 0.03, 0.02, 0.025, 0.02, 0.035])


def test_slope_intercept_and_covariance() -> None:
    points = [
        FlowPoint(float(p), 0.0, float(q), float(u))
        for p, q, u in zip(PRESSURES_PA, FLOWS_L_MIN, RELATIVE, strict=True)
    ]
    fit = fit_points(points)
    (slope, intercept), covariance = np.polyfit(
        np.log(PRESSURES_PA), np.log(FLOWS_L_MIN), 1, w=1.0 / RELATIVE, cov="unscaled"
    )
    assert fit.widening == 1.0
    assert fit.exponent == pytest.approx(slope, rel=1e-9)
    assert fit.ln_k == pytest.approx(intercept, rel=1e-9)
    assert fit.covariance.exponent == pytest.approx(covariance[0, 0], rel=1e-9)
    assert fit.covariance.ln_k_exponent == pytest.approx(covariance[0, 1], rel=1e-9)
    assert fit.covariance.ln_k == pytest.approx(covariance[1, 1], rel=1e-9)
