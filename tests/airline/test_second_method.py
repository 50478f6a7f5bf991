"""A second way of measuring the flow either agrees, or says that one of the two is wrong."""

import pytest

from linetender.airline.air_state import air_at
from linetender.airline.calibration_fit import FlowPoint
from linetender.airline.fitted_element import CalibratedElement, FitCovariance
from linetender.airline.second_method import disagreement

AIR = air_at(20.0, 101_325.0)
FIT = CalibratedElement(27.0, 0.54, AIR, 0.03, FitCovariance(1e-4, 0.0, 0.0), 10.0, 60.0)


@pytest.mark.parametrize(
    ("ratio", "said"),
    [
        (1.0, ""),
        # u = √(0.02² + 0.05² + 0.03² + 0.01²) = 6.2 %, so 12.5 % is where it ends.
        (1.12, ""),
        (0.89, ""),
        (1.15, "reads +15 % against the first"),
        (0.85, "reads -15 % against the first"),
    ],
)
def test_agreement_ends_at_two_common_uncertainties(ratio: float, said: str) -> None:
    check = FlowPoint(40.0, 0.0, ratio * FIT.airflow_l_min(40.0, AIR), 0.02)
    reason = disagreement(FIT, AIR, [check], 0.05)
    assert said in reason
    assert bool(said) is bool(reason)
