"""Does a second way of measuring the flow agree with a calibration?"""

import math
import statistics
from collections.abc import Sequence

from linetender.airline.air_state import AirState
from linetender.airline.calibration_fit import FlowPoint
from linetender.airline.fitted_element import CalibratedElement

COVERAGE = 2.0
"""Two results agree when they differ by less than this many of their common standard
uncertainties (some 95 %; JCGM 100:2008, GUM, 6.2)."""


def disagreement(
    element: CalibratedElement,
    air: AirState,
    checks: Sequence[FlowPoint],
    common_relative: float,
) -> str:
    """Say by how much a second method differs from the calibration; empty where they agree.

    Args:
        element: The calibration.
        air: Air at the element.
        checks: Flow points of the second method, at least one.
        common_relative: Standard uncertainty that they share, over the flow (1).
    """
    differences = [
        math.log(check.airflow_l_min / element.airflow_l_min(check.differential_pa, air))
        for check in checks
    ]
    mean = statistics.fmean(differences)
    own = math.sqrt(math.fsum(check.variance(element.exponent) for check in checks)) / len(checks)
    fits = [element.covariance.relative_uncertainty(check.differential_pa) for check in checks]
    doubt = math.hypot(own, common_relative, element.method_relative, max(fits))
    if abs(mean) <= COVERAGE * doubt:
        return ""
    return (
        f"The second method reads {100.0 * math.expm1(mean):+.0f} % against the first; "
        f"±{100.0 * COVERAGE * doubt:.0f} % would be within what both are uncertain by. One of "
        "them is wrong: measure the bag's volume, the duct's diameter, the place of the probe."
    )
