"""Roots of rising functions, by halving a bracket: slow, and never wrong."""

import math
from collections.abc import Callable

_RELATIVE_TOLERANCE = 1e-14
_MOST_HALVINGS = 200
_MOST_DOUBLINGS = 200


def root_between(function: Callable[[float], float], low: float, high: float) -> float:
    """Return where a rising function passes 0.

    Args:
        function: Continuous and rising between the ends.
        low: End at which it is 0 or less.
        high: End at which it is 0 or more.

    Raises:
        ValueError: The function is not of those signs at the ends.
    """
    if function(low) > 0.0 or function(high) < 0.0:
        raise ValueError(f"no sign change between {low} and {high}")
    for _ in range(_MOST_HALVINGS):
        middle = 0.5 * (low + high)
        if high - low <= _RELATIVE_TOLERANCE * abs(middle) or middle in (low, high):
            break
        if function(middle) < 0.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def argument_at(function: Callable[[float], float], target: float) -> float:
    """Return the argument (>= 0) at which a function that rises from 0 has this value.

    Args:
        function: Continuous, rising without bound, 0 at 0.
        target: Value (>= 0).

    Raises:
        ValueError: The target is negative or not finite, or the function stays below it.
    """
    if not 0.0 <= target < math.inf:
        raise ValueError(f"{target} is negative or not finite")
    if target == 0.0:
        return 0.0
    high = 1.0
    for _ in range(_MOST_DOUBLINGS):
        if function(high) >= target:
            return root_between(lambda x: function(x) - target, 0.0, high)
        high *= 2.0
    raise ValueError(f"the function does not reach {target}")
