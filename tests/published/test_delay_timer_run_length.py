"""How long a delay timer lets false alarms wait, against the closed form.

For n consecutive independent samples, each over the limit with probability p, the
mean run length is (1 - p^n) / (p^n (1 - p)) samples: the waiting time for n
successes in a row (W. Feller, An Introduction to Probability Theory and Its
Applications, vol. 1, 3rd ed., XIII.7, from memory). Delay timers of process alarms
are treated this way by Adnan et al., J. Process Control 21 (2011) 1318 (abstract).
"""

import random
from math import sqrt
from statistics import mean, stdev

import pytest

from core.watching import plan, rule
from linetender.core.inputs import reading
from linetender.core.instants import SECOND_NS
from linetender.core.plan import Below
from linetender.core.signals import Signal
from linetender.core.watch import Watch

SPO2 = Signal.SPO2_PERCENT
RUNS = 1_500
# p, n, and the mean run length in samples as the table of the closed form has it.
TABLE = [
    (0.1, 1, 10.0),
    (0.1, 2, 110.0),
    (0.5, 1, 2.0),
    (0.5, 2, 6.0),
    (0.5, 3, 14.0),
    (0.5, 5, 62.0),
]


def run_length(draw: random.Random, p: float, n: int) -> int:
    """Count samples, one a second, until an alarm with an on-delay of n steps raises.

    A deadline comes before an input at the same instant, so an on-delay of n steps
    has seen n samples: its own and n - 1 more, and not the one that would be next.
    """
    watch = Watch(plan(rule(Below(SPO2, 90.0), on_s=float(n))), 0)
    count = 0
    while True:
        now_ns = count * SECOND_NS
        if watch.advance(now_ns):
            return count
        watch.feed(reading(now_ns, SPO2, 89.0 if draw.random() < p else 95.0))
        count += 1


@pytest.mark.parametrize(("p", "n", "tabled"), TABLE)
def test_mean_run_length(p: float, n: int, tabled: float) -> None:
    closed = (1 - p**n) / (p**n * (1 - p))
    assert closed == pytest.approx(tabled, abs=0.5)
    draw = random.Random(f"{p} {n}")
    lengths = [run_length(draw, p, n) for _ in range(RUNS if tabled < 100 else RUNS // 4)]
    standard_error = stdev(lengths) / sqrt(len(lengths))
    assert abs(mean(lengths) - closed) < 4 * standard_error
