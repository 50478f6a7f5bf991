"""The smoothing of a heading, against run lengths of the EWMA chart.

Two-sided, limits at the asymptotic +-L sigma sqrt(lambda / (2 - lambda)), started at the
target. Values agree with J. M. Lucas and M. S. Saccucci, Technometrics 32 (1990) 1 (from
memory), and were reckoned by an integral equation.
"""

import random
from itertools import count
from math import sqrt
from statistics import mean, stdev

import pytest

from linetender.core.conditions.condition import Verdict
from linetender.core.conditions.heading import HeadingCondition
from linetender.core.instants import SECOND_NS
from linetender.core.plan import Heading, Side
from linetender.core.signals import Signal

TARGET = 100.0
SHIFTS = (0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0)
# lambda, L: mean run length at each shift in sigma.
TABLE = {
    (0.4, 3.054): (500.0, 224.0, 71.2, 28.4, 14.3, 5.9, 3.5, 2.0),
    (0.2, 2.962): (500.0, 150.0, 41.8, 18.1, 10.5, 5.5, 3.7, 2.4),
    (0.1, 2.814): (500.0, 106.0, 31.3, 15.8, 10.3, 6.1, 4.4, 2.9),
    (0.05, 2.615): (500.0, 84.0, 28.8, 16.4, 11.4, 7.1, 5.2, 3.5),
}
CELLS = [
    (smoothing, width, shift, tabled)
    for (smoothing, width), row in TABLE.items()
    for shift, tabled in zip(SHIFTS, row, strict=True)
]


def run_length(draw: random.Random, smoothing: float, width: float, shift: float) -> int:
    """Count means until one of two headings, which look 0 s ahead, is present."""
    half = width * sqrt(smoothing / (2.0 - smoothing))
    sides = [
        HeadingCondition(
            Heading(Signal.PULSE_RATE_BPM, TARGET + way * half, side, 0, 60 * SECOND_NS, smoothing)
        )
        for way, side in ((-1.0, Side.DOWN), (1.0, Side.UP))
    ]
    for condition in sides:
        condition.see_mean(0, TARGET)
    for n in count(1):
        value = TARGET + draw.gauss(shift, 1.0)
        for condition in sides:
            condition.see_mean(n, value)
            if condition.verdict is Verdict.PRESENT:
                return n
    raise AssertionError("unreachable")


@pytest.mark.parametrize(("smoothing", "width", "shift", "tabled"), CELLS)
def test_mean_run_length(smoothing: float, width: float, shift: float, tabled: float) -> None:
    runs = 300 if tabled > 100.0 else 2_000
    draw = random.Random(f"{smoothing} {width} {shift}")
    lengths = [run_length(draw, smoothing, width, shift) for _ in range(runs)]
    standard_error = stdev(lengths) / sqrt(runs)
    # The table gives one decimal, or none from 80 on.
    rounding = 0.5 if tabled > 80.0 else 0.05
    assert abs(mean(lengths) - tabled) < 4 * standard_error + rounding
