"""How long a drift takes, against Lorden's bound at the same rate of false alarms."""

from math import log
from random import Random
from statistics import fmean

from linetender.core.conditions.condition import Verdict
from linetender.core.conditions.drift import DriftCondition
from linetender.core.plan import Drift
from linetender.core.signals import Signal

SHIFTS = (0.5, 1.0, 2.0)
"""In standard deviations of a window's mean."""

CALM_WINDOWS = 30.0 * 86_400.0
"""Mean number of windows between false alarms: thirty days of one a second."""

LIMITS = {0.5: 24.21, 1.0: 12.92, 2.0: 6.56}
"""h for each shift with k of half the shift, for that calm; 12.92 is by an integral equation,
the others by Siegmund's approximation."""


def drift_against_bound(shift: float, runs: int) -> tuple[float, float]:
    """Return the mean delay of a drift made for a shift, and Lorden's bound, in windows.

    Args:
        shift: One of `SHIFTS`.
        runs: How many changes are detected, each with its seed.
    """
    plan = Drift(Signal.AIR_PERCENT_OF_BASELINE, LIMITS[shift], shift / 2.0, 1.0, 100.0)
    delays = [_delay(plan, shift, Random(f"drift {shift} {run}")) for run in range(runs)]
    return fmean(delays), log(CALM_WINDOWS) / (shift * shift / 2.0)


def _delay(plan: Drift, shift: float, draw: Random) -> int:
    condition, count = DriftCondition(plan, {}), 0
    while condition.verdict is not Verdict.PRESENT:
        count += 1
        condition.see_mean(count, 100.0 + draw.gauss(-shift, 1.0))
    return count
