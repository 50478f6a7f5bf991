"""An airflow measured by other means than the station's own: bag and stopwatch, or a traverse."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from linetender.airline.quantity_checks import require_positive
from linetender.airline.traverse import POINT_COUNTS, traverse_airflow_l_min

STOPWATCH_S = 0.25
"""Standard uncertainty of a stopwatch by hand, start and stop together (chosen, s)."""

FULLNESS_RELATIVE = 0.02
"""Standard uncertainty of judging by eye when a bag is full, over its volume (chosen)."""

BAG_RELATIVE = 0.03
"""Standard uncertainty of the bag's volume, over it, where none is stated (chosen)."""

SHORTEST_FILL_S = 5.0
"""In less the stopwatch alone spoils a twentieth of the flow (chosen)."""

LONGEST_FILL_S = 1800.0
"""Nobody holds a bag for longer (chosen)."""

ANEMOMETER_RELATIVE = 0.05
"""Standard uncertainty of an anemometer, over the velocity, where none is stated (chosen)."""

PROBE_RELATIVE = 0.02
"""Standard uncertainty of holding the probe at the right places, over the flow (chosen)."""


@dataclass(frozen=True, slots=True)
class MeasuredFlow:
    """An airflow and how well it is known.

    Attributes:
        airflow_l_min: Actual airflow (L/min, > 0).
        random_relative: Standard uncertainty that is drawn anew at each repeat, over the flow.
        common_relative: Standard uncertainty that all repeats share (bag, anemometer), over
            the flow.
    """

    airflow_l_min: float
    random_relative: float
    common_relative: float


def flow_of_bag(
    volume_l: float, seconds: float, volume_relative: float = BAG_RELATIVE
) -> MeasuredFlow:
    """Return the airflow that filled a bag.

    Args:
        volume_l: Volume of the bag (L, > 0).
        seconds: Time it took (s).
        volume_relative: Standard uncertainty of the volume over the volume (1).

    Raises:
        ValueError: The volume is not above 0, or the time is outside 5 s to half an hour.
    """
    require_positive("volume of the bag", volume_l, "L")
    if not SHORTEST_FILL_S <= seconds <= LONGEST_FILL_S:
        raise ValueError(
            f"{seconds:g} s to fill a bag is outside {SHORTEST_FILL_S:g} to {LONGEST_FILL_S:g} s: "
            "a mistake of typing, or take a bag of another size"
        )
    random_relative = math.hypot(STOPWATCH_S / seconds, FULLNESS_RELATIVE)
    return MeasuredFlow(60.0 * volume_l / seconds, random_relative, volume_relative)


def flow_of_traverse(
    velocities_m_s: Sequence[float],
    diameter_mm: float,
    anemometer_relative: float = ANEMOMETER_RELATIVE,
) -> MeasuredFlow:
    """Return the airflow from velocities at the log-linear points of one or more diameters.

    Args:
        velocities_m_s: Velocities (m/s, >= 0), 6, 8 or 10 on each diameter.
        diameter_mm: Inside diameter (mm, > 0).
        anemometer_relative: Standard uncertainty of the anemometer over the velocity (1).

    Raises:
        ValueError: The number of points is none of a traverse, or a velocity is negative.
    """
    count = len(velocities_m_s)
    if count == 0 or all(count % points for points in POINT_COUNTS):
        raise ValueError(
            f"{count} velocities: a traverse has {', '.join(map(str, POINT_COUNTS))} on each "
            "diameter"
        )
    airflow = traverse_airflow_l_min(velocities_m_s, diameter_mm)
    require_positive("airflow of the traverse", airflow, "L/min")
    return MeasuredFlow(airflow, PROBE_RELATIVE, anemometer_relative)
