"""How often a level rule would have been told: many limits and delays over one series, fast.

The core decides reading by reading. Here numpy finds where the value crosses the limits,
and only those instants are walked through; `tests/reports/test_level_alarms.py` holds the
outcome against the core's own. One rule by itself is judged: what suppresses it, what an
answer quiets and what another rule does is left out.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from linetender.core.alarm import CHATTER_RAISES, CHATTER_WITHIN_NS
from linetender.core.instants import NEVER_NS

Instants = NDArray[np.int64]
Indexes = NDArray[np.int64]

GOOD, DOUBTFUL, BAD = 0, 1, 2
"""Qualities of a reading."""

_BEGINS, _CLEARS, _TAKES_BACK = 1, 2, 3


class Applied(NamedTuple):
    """A time in which the rule works (ns): from its first instant to its last."""

    from_ns: int
    to_ns: int


class LevelSeries:
    """The readings of one signal over a session.

    Args:
        at_ns: Arrivals, int64, (n,), ns, oldest first.
        value: Values, float64, (n,), in the signal's unit; anything where it is bad.
        quality: uint8, (n,), `GOOD`, `DOUBTFUL` or `BAD`.
        gap_ns: A longer time between two good readings begins an off-delay anew.
        until_ns: The series was watched up to here.
        applied: When the rule works, oldest first, apart from each other.
    """

    def __init__(
        self,
        at_ns: Instants,
        value: NDArray[np.float64],
        quality: NDArray[np.uint8],
        gap_ns: int,
        until_ns: int,
        applied: tuple[Applied, ...],
    ) -> None:
        self.at_ns = at_ns
        self.value = value
        self.quality = quality
        self.until_ns = until_ns
        self.applied = applied
        self.is_good = quality == GOOD
        self.goods = np.flatnonzero(self.is_good)
        gaps = self.goods[1:][np.diff(at_ns[self.goods]) > gap_ns]
        # With a rule that begins to work, its off-delay begins anew too.
        begins = np.searchsorted(at_ns, [one.from_ns for one in applied]).astype(np.int64)
        begins = begins[begins < len(at_ns)]
        self.resets = np.unique(np.concatenate([np.flatnonzero(~self.is_good), gaps, begins]))

    def next_good(self, place: int) -> int:
        """Return the index of the first good reading from an index on; n where none is."""
        return _first_from(self.goods, place, len(self.at_ns))

    def next_reset(self, place: int) -> int:
        """Return the index of the first reading after this one that restarts an off-delay."""
        return _first_from(self.resets, place + 1, len(self.at_ns))


class Crossings(NamedTuple):
    """The stretches in which the value is past its limit and has not cleared.

    Attributes:
        limit: The limit.
        first: Index of the reading that begins each.
        last: Index of the reading that ends it; n where none does.
        is_sure: Whether a good reading ended it, rather than a doubtful one.
    """

    limit: float
    first: Indexes
    last: Indexes
    is_sure: NDArray[np.bool_]


def crossings_below(series: LevelSeries, limit: float, deadband: float) -> Crossings:
    """Find where a value falls below a limit, with hysteresis, as `Below` in the core does."""
    value, is_good = series.value, series.is_good
    count = len(value)
    usable = series.quality != BAD
    kinds = np.zeros(count, dtype=np.uint8)
    kinds[usable & (value < limit)] = _BEGINS
    clear = value >= limit + deadband
    kinds[is_good & clear] = _CLEARS
    kinds[(series.quality == DOUBTFUL) & clear] = _TAKES_BACK
    places = np.flatnonzero(kinds)
    kinds = kinds[places]
    is_new = np.ones(len(kinds), dtype=bool)
    is_new[1:] = kinds[1:] != kinds[:-1]
    places, kinds = places[is_new], kinds[is_new]
    if (kinds == _TAKES_BACK).any():
        return _walked(series, limit, places, kinds)
    if len(kinds) and kinds[0] == _CLEARS:
        places = places[1:]
    first, last = places[0::2], places[1::2]
    if len(last) < len(first):
        last = np.append(last, count)
    return Crossings(limit, first, last, np.ones(len(first), dtype=bool))


def _walked(
    series: LevelSeries, limit: float, places: Indexes, kinds: NDArray[np.uint8]
) -> Crossings:
    """Do the same where doubtful readings may take back what doubtful ones alone began."""
    first: list[int] = []
    last: list[int] = []
    sure: list[bool] = []
    for place, kind in zip(places.tolist(), kinds.tolist(), strict=True):
        is_open = len(first) > len(last)
        if kind == _BEGINS and not is_open:
            first.append(place)
        elif kind != _BEGINS and is_open:
            if kind == _TAKES_BACK and series.next_good(first[-1]) < place:
                continue
            last.append(place)
            sure.append(kind == _CLEARS)
    if len(first) > len(last):
        last.append(len(series.at_ns))
        sure.append(True)
    return Crossings(
        limit, np.array(first, dtype=np.int64), np.array(last, dtype=np.int64), np.array(sure, bool)
    )


def raised_ns(
    series: LevelSeries,
    crossings: Crossings,
    on_delay_ns: int,
    off_delay_ns: int,
    *,
    killer: bool,
) -> list[int]:
    """Return each instant (ns) at which the alarm of a rule would have been raised.

    Args:
        series: The readings.
        crossings: Where they are past the limit.
        on_delay_ns, off_delay_ns: As of the rule.
        killer: Whether the rule can kill: such an alarm is never held for chattering.
    """
    count = len(series.at_ns)
    at_ns = np.append(series.at_ns, series.until_ns)
    ends_ns = at_ns[crossings.last]
    long_enough = np.flatnonzero(ends_ns - at_ns[crossings.first] >= on_delay_ns)
    found: list[int] = []
    free_from = 0
    for each in long_enough.tolist():
        if each < free_from:
            continue
        end_ns = min(int(ends_ns[each]), series.until_ns)
        due_ns = _due_ns(series, crossings, each, on_delay_ns, end_ns)
        if due_ns is None:
            continue
        found.append(due_ns)
        recent = [one for one in found[-CHATTER_RAISES:] if due_ns - one < CHATTER_WITHIN_NS]
        chatters = len(recent) >= CHATTER_RAISES and not killer
        off_ns = max(off_delay_ns, CHATTER_WITHIN_NS if chatters else 0)
        free_from = _free_from(series, crossings, each, off_ns)
        if free_from >= count:
            break
    return found


def _due_ns(
    series: LevelSeries, crossings: Crossings, each: int, on_delay_ns: int, end_ns: int
) -> int | None:
    """Return when an on-delay ends within one crossing; None where it is cut short."""
    first, last = int(crossings.first[each]), int(crossings.last[each])
    first_ns = int(series.at_ns[first])
    for applied in series.applied:
        if applied.to_ns < first_ns:
            continue
        if applied.from_ns > end_ns:
            break
        begin_ns: int | None = first_ns
        if applied.from_ns > first_ns:
            begin_ns = _seen_ns(series, crossings.limit, applied.from_ns, last)
        if begin_ns is not None and begin_ns + on_delay_ns <= min(end_ns, applied.to_ns):
            return begin_ns + on_delay_ns
    return None


def _seen_ns(series: LevelSeries, limit: float, from_ns: int, last: int) -> int | None:
    """Return when a rule that begins to work amid a crossing sees it: a bad reading hides it."""
    place = int(np.searchsorted(series.at_ns, from_ns, side="right")) - 1
    if _shows(series, limit, place):
        return from_ns
    for later in range(place + 1, last):
        if _shows(series, limit, later):
            return int(series.at_ns[later])
    return None


def _shows(series: LevelSeries, limit: float, place: int) -> bool:
    quality = series.quality[place]
    return bool(quality == GOOD or (quality == DOUBTFUL and series.value[place] < limit))


def _free_from(series: LevelSeries, crossings: Crossings, each: int, off_ns: int) -> int:
    """Return the number of the first crossing after the alarm of this one has cleared.

    `NEVER_NS` where it never clears.
    """
    count, crossed = len(series.at_ns), len(crossings.first)
    while each < crossed:
        last = int(crossings.last[each])
        start = last if crossings.is_sure[each] else series.next_good(last)
        following = int(crossings.first[each + 1]) if each + 1 < crossed else count
        each += 1
        if _clears(series, start, following, off_ns):
            return each
    return NEVER_NS


def _clears(series: LevelSeries, start: int, following: int, off_ns: int) -> bool:
    """Whether an off-delay that a good reading begins ends before the next crossing."""
    while start < following:
        due_ns = int(series.at_ns[start]) + off_ns
        end = max(start, int(np.searchsorted(series.at_ns, due_ns)))
        reset = series.next_reset(start)
        if end < min(reset, following) or end == start:
            return True
        if reset >= following:
            return False
        start = series.next_good(reset)
    return False


def _first_from(places: Indexes, place: int, otherwise: int) -> int:
    found = int(np.searchsorted(places, place))
    return int(places[found]) if found < len(places) else otherwise
