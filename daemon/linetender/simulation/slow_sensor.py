"""A sensor that follows what it measures with a lag, as gas sensors do."""

import math
from collections.abc import Callable

_NS_PER_S = 1_000_000_000.0


class SlowSensor:
    """One lag of the first order, moved on whenever it is read; time must not run back.

    Args:
        true: What is true at an instant (ns).
        tau_s: Time after which it shows 63 % of a step (s, > 0).
    """

    def __init__(self, true: Callable[[int], float], tau_s: float) -> None:
        self._true = true
        self._tau_s = tau_s
        self._at_ns: int | None = None
        self._shown = 0.0

    def value(self, now_ns: int) -> float:
        """Return what it shows at an instant (ns); settled when first asked."""
        true = self._true(now_ns)
        if self._at_ns is None:
            self._shown = true
        else:
            passed_s = (now_ns - self._at_ns) / _NS_PER_S
            self._shown += (true - self._shown) * -math.expm1(-passed_s / self._tau_s)
        self._at_ns = now_ns
        return self._shown
