"""Where the marks of an axis stand."""

import math

from linetender.reports.durations import clock

_STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200)
_DAY_S = 86400


def ticks(low: float, high: float, most: int) -> list[float]:
    """Return round numbers from `low` to `high`, at most about so many."""
    step = _round_step((high - low) / most)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [round(number * step, 10) for number in range(first, last + 1)]


def enclosing(low: float, high: float, most: int) -> tuple[float, float]:
    """Widen a range to round numbers at both ends."""
    if high - low < 1e-9:
        low, high = low - 1.0, high + 1.0
    step = _round_step((high - low) / most)
    return math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step


def time_ticks(length_s: float, most: int) -> list[tuple[float, str]]:
    """Return round times from 0 to the end of a session (s), each with its label."""
    step = next(
        (one for one in _STEPS_S if length_s / one <= most),
        _DAY_S * math.ceil(length_s / _DAY_S / most),
    )
    return [(float(at), clock(at)) for at in range(0, int(length_s) + 1, step)]


def _round_step(least: float) -> float:
    power = 10.0 ** math.floor(math.log10(max(least, 1e-9)))
    return next(factor * power for factor in (1, 2, 5, 10) if factor * power >= least * 0.999)
