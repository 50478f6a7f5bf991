"""How long a drift takes to be present, against run lengths of the CUSUM chart.

S = max(0, S + x - k), alarm at S > h, k = 0.5, x from N(delta, 1), independent. The
one-sided mean run lengths without a shift are 335.4 (h = 4) and 930.9 (h = 5), by an
integral equation; the textbook table gives the two-sided chart, about half: 168 and 465
(D. C. Montgomery, Introduction to Statistical Quality Control, from memory), with
delays of 8.38 and 3.34 (h = 4), 10.4 and 4.01 (h = 5) at shifts of 1 and 2 sigma.
"""

import random
from math import sqrt
from statistics import mean, stdev

import pytest

from linetender.core.conditions.condition import Verdict
from linetender.core.conditions.drift import DriftCondition
from linetender.core.plan import Drift, Side
from linetender.core.signals import Signal
from linetender.settings.window_checks import run_length as reckoned

REFERENCE, SIGMA = 97.0, 2.0
# h, side, shift in sigma, mean run length, runs.
TABLE = [
    (4.0, Side.DOWN, 0.0, 335.4, 1_000),
    (5.0, Side.DOWN, 0.0, 930.9, 500),
    (4.0, Side.UP, 0.0, 335.4, 1_000),
    (4.0, Side.BOTH, 0.0, 167.7, 1_500),
    (5.0, Side.BOTH, 0.0, 465.4, 700),
    (4.0, Side.BOTH, 0.5, 26.6, 4_000),
    (4.0, Side.DOWN, 1.0, 8.38, 8_000),
    (4.0, Side.DOWN, 2.0, 3.34, 8_000),
    (5.0, Side.DOWN, 1.0, 10.38, 8_000),
    (5.0, Side.DOWN, 2.0, 4.01, 8_000),
    (5.0, Side.UP, 1.5, 5.75, 8_000),
    (5.0, Side.BOTH, 3.0, 2.57, 8_000),
]


def run_length(draw: random.Random, h: float, side: Side, shift: float) -> int:
    """Count window means until the condition is present."""
    condition = DriftCondition(Drift(Signal.SPO2_PERCENT, h, 0.5, SIGMA, REFERENCE, side), {})
    way = -1.0 if side is Side.DOWN else 1.0
    count = 0
    while condition.verdict is not Verdict.PRESENT:
        count += 1
        condition.see_mean(count, REFERENCE + SIGMA * (draw.gauss(0.0, 1.0) + way * shift))
    return count


@pytest.mark.parametrize(("h", "side", "shift", "tabled", "runs"), TABLE)
def test_mean_run_length(h: float, side: Side, shift: float, tabled: float, runs: int) -> None:
    draw = random.Random(f"{h} {side} {shift}")
    lengths = [run_length(draw, h, side, shift) for _ in range(runs)]
    standard_error = stdev(lengths) / sqrt(runs)
    assert abs(mean(lengths) - tabled) < 4 * standard_error


@pytest.mark.parametrize(("h", "exact"), [(4.0, 335.4), (5.0, 930.9)])
def test_what_the_settings_reckon_is_within_a_hundredth(h: float, exact: float) -> None:
    assert reckoned(0.5, h) == pytest.approx(exact, rel=0.01)


def test_long_calm_reckoned() -> None:
    """One sample a second, one-sided: an hour, a day, thirty days between false alarms."""
    for h, seconds in ((6.34, 3600.0), (9.52, 86_400.0), (12.92, 2_592_000.0)):
        assert reckoned(0.5, h) == pytest.approx(seconds, rel=0.02)
