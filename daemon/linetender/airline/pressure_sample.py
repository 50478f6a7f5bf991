"""A pressure watched for some seconds: its mean, how restless it was, whether it crept."""

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

LEAST_VALUES = 20
"""Fewer values tell neither noise nor drift (chosen)."""

_BLOCKS = 10
"""Neighbouring values are not independent (turbulence lasts): the mean's uncertainty is
taken from the means of so many stretches (batch means, a common practice)."""

GREATEST_FAILED = 0.1
"""Part of the readings that may fail before the rest is not believed either (chosen)."""


@dataclass(frozen=True, slots=True)
class PressureSample:
    """What a sensor said over some seconds.

    Attributes:
        mean_pa: Mean (Pa).
        mean_uncertainty_pa: Standard uncertainty of the mean by its own scatter (Pa, >= 0).
        scatter_pa: Standard deviation of the single values (Pa, >= 0).
        drift_pa: Mean of the second half less that of the first (Pa).
        count: Number of values.
        failed: Number of readings that gave no value.
    """

    mean_pa: float
    mean_uncertainty_pa: float
    scatter_pa: float
    drift_pa: float
    count: int
    failed: int

    @property
    def is_whole(self) -> bool:
        """Whether enough readings gave a value."""
        total = self.count + self.failed
        return self.count >= LEAST_VALUES and self.failed <= GREATEST_FAILED * total


def sample_of(values_pa: Sequence[float], failed: int = 0) -> PressureSample:
    """Summarise values (Pa, oldest first) and the number of readings that failed.

    With fewer than `LEAST_VALUES` values the sample is not whole, and only counts are
    meant by it.

    Raises:
        ValueError: A value is not finite.
    """
    if not all(map(math.isfinite, values_pa)):
        raise ValueError("a pressure is not a finite number")
    count = len(values_pa)
    if count < LEAST_VALUES:
        mean = statistics.fmean(values_pa) if values_pa else 0.0
        return PressureSample(mean, 0.0, 0.0, 0.0, count, failed)
    edges = [count * block // _BLOCKS for block in range(_BLOCKS + 1)]
    blocks = [statistics.fmean(values_pa[low:high]) for low, high in pairwise(edges)]
    half = count // 2
    return PressureSample(
        mean_pa=statistics.fmean(values_pa),
        mean_uncertainty_pa=statistics.stdev(blocks) / math.sqrt(_BLOCKS),
        scatter_pa=statistics.stdev(values_pa),
        drift_pa=statistics.fmean(values_pa[half:]) - statistics.fmean(values_pa[:half]),
        count=count,
        failed=failed,
    )
