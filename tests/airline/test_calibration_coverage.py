"""Does the stated 95 % interval hold the true flow in 95 % of calibrations?

A thousand calibrations by bag and stopwatch with known truth. Each draws its own line,
bag, sensor and hands; the errors are those that the budget says it reckons with: the
bag's volume, judging by eye when it is full, the stopwatch, the sensor's zero and
span, and the restless pressure. Then a flow inside the calibrated range is read by
the same sensor, and its interval either holds the truth or does not.
"""

import random
from dataclasses import replace

import pytest

from linetender.airline.air_state import air_at
from linetender.airline.calibration_fit import FlowPoint, fit_points
from linetender.airline.fitted_element import CalibratedElement
from linetender.airline.flow_estimate import AirUncertainty, flow_estimate
from linetender.airline.measured_flow import (
    BAG_RELATIVE,
    FULLNESS_RELATIVE,
    STOPWATCH_S,
    flow_of_bag,
)
from linetender.airline.pressure_sensor import SDP8XX_500

TRIALS = 1000
AIR = air_at(20.0, 96_600.0)
SAME_AIR = AirUncertainty(0.0, 0.0, 0.0)
"""The flow is read in the very air of the calibration, so that nothing else can help."""

SENSOR = replace(SDP8XX_500, span_relative=0.0, is_thermal=False)
"""As the station reckons it: calibrated with this sensor, whose span k holds."""

STATED_BAG_L = 200.0
NORMAL_PA = 60.0


def interval_holds_truth(seed: int, settings: int, repeats: int) -> bool:
    drawn = random.Random(seed)
    n = drawn.uniform(0.5, 0.6)
    k = drawn.uniform(170.0, 425.0) / NORMAL_PA**n
    bag_l = STATED_BAG_L * (1.0 + drawn.gauss(0.0, BAG_RELATIVE))
    zero_pa = drawn.uniform(-0.1, 0.1)
    span = 1.0 + drawn.gauss(0.0, SDP8XX_500.span_relative)
    points = []
    for setting in range(settings):
        true_pa = NORMAL_PA * (0.2 + 0.8 * setting / (settings - 1))
        restless_pa = 0.01 * true_pa
        for _ in range(repeats):
            fill_s = 60.0 * bag_l / (k * true_pa**n) * (1.0 + drawn.gauss(0.0, FULLNESS_RELATIVE))
            flow = flow_of_bag(STATED_BAG_L, fill_s + drawn.gauss(0.0, STOPWATCH_S))
            read_pa = true_pa * span + zero_pa + drawn.gauss(0.0, restless_pa)
            points.append(FlowPoint(read_pa, restless_pa, flow.airflow_l_min, flow.random_relative))
    fit = fit_points(points)
    element = CalibratedElement(
        fit.k_l_min, fit.exponent, AIR, BAG_RELATIVE, fit.covariance, fit.least_pa, fit.greatest_pa
    )
    later_pa = NORMAL_PA * drawn.uniform(0.25, 1.0)
    estimate = flow_estimate(element, later_pa * span + zero_pa, AIR, SENSOR, SAME_AIR)
    low, high = estimate.interval_l_min()
    return low <= k * later_pa**n <= high


@pytest.mark.parametrize(("settings", "repeats"), [(3, 3), (5, 3)])
def test_the_95_percent_interval_holds_the_truth(settings: int, repeats: int) -> None:
    held = sum(interval_holds_truth(seed, settings, repeats) for seed in range(TRIALS))
    assert 0.93 <= held / TRIALS <= 0.97
