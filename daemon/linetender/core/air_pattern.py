"""What the last seconds of air look like: how low, and how it went there."""

from collections.abc import Sequence
from math import inf
from typing import NamedTuple

from linetender.core.cause_table import Pace

STEADY_FROM_PERCENT = 92.0
"""A mean from here on counts as air as it was (chosen: twice its usual scatter below 100 %)."""
RISEN_FROM_PERCENT = 108.0
"""From here on it counts as more than there was."""
FAST_PERCENT = 12.0
"""A fall that loses so much within two seconds anywhere is no slow one (chosen: a fan that
stops loses 40 %, a supply that sags within 20 s loses 8 %)."""
FALLEN_PART = 0.85
"""A fall is reckoned until this part of it is done (chosen: over a breath at a low level, which
moves the means by a tenth of the fall; a fan that stops has lost a good half in as long)."""
SUDDEN_S = 2
"""A fall within one whole mean, and the mean it began in, is sudden."""
STEP_PERCENT = 3.5
"""A mean so far under all before it is still falling (chosen: over turbulence and breath)."""
SETTLED_MEANS = 4
"""So many means within two steps are a level at which the air has settled."""
SETTLED_FROM_PERCENT = 25.0
"""A fan that runs down does not settle above this."""
WHOLE_MEANS = 40
"""So many seconds' means are looked back on (chosen); before fewer the station was blind."""
BREATH_PERCENT = 4.0
"""In a closed line the wearer's breath moves the means by more, a sensor's noise by less."""


class Pattern(NamedTuple):
    """The air of the last seconds.

    Attributes:
        pace: How it went.
        level: Where it is (% of the baseline).
        fell_s: Seconds in which most of the fall was done; 0 where it did not fall.
        breathes: Whether it moves as a breath does.
    """

    pace: Pace
    level: float
    fell_s: int = 0
    breathes: bool = False


def pattern_of(means: Sequence[float]) -> Pattern | None:
    """Return the pattern of one-second means (% of the baseline), the oldest first.

    The last one may be of a second that is not over. None where there are none.
    """
    if not means:
        return None
    level = means[-1]
    if level >= RISEN_FROM_PERCENT:
        return Pattern(Pace.RISING, level)
    if level >= STEADY_FROM_PERCENT:
        return Pattern(Pace.STEADY, level)
    if _is_unseen(means):
        return Pattern(Pace.UNSEEN, level)
    began = _steepest(means)
    fall = [_before(means, began), *means[began + 1 :]]
    nearly = fall[0] - FALLEN_PART * (fall[0] - min(fall))
    fell_s = next(place for place, mean in enumerate(fall) if mean <= nearly)
    after = fall[fell_s + 1 :][-SETTLED_MEANS:] or fall[-1:]
    breathes = max(after) - min(after) > BREATH_PERCENT
    return Pattern(_pace(fall, fell_s), sum(after) / len(after), fell_s, breathes)


def _is_unseen(means: Sequence[float]) -> bool:
    """Whether the greater part of the fall lies before the first mean, so that its pace is unknown.

    A tail of a fan that runs down falls as slowly as a filter loads, and air that only rises
    says nothing of its fall.
    """
    highest = max(means)
    if len(means) >= WHOLE_MEANS or highest >= STEADY_FROM_PERCENT:
        return False
    return 100.0 - highest >= highest - min(means[means.index(highest) :])


def _steepest(means: Sequence[float]) -> int:
    """Return the place from which most is lost within two seconds."""
    most, steepest = -inf, 0
    pairs = zip(means, means[1:], [*means[2:], means[-1]], strict=False)
    for place, (mean, following, second) in enumerate(pairs):
        # The way down begins at this mean or lower: most places need no closer look.
        if mean - following > most or mean - second > most:
            lost = _before(means, place) - min(following, second)
            if lost > most:
                most, steepest = lost, place
    return steepest


def _before(means: Sequence[float], place: int) -> float:
    """Return from where a fall after this place began: the way back from one odd rise is none.

    That is the mean there, or the median of it and the two before it where that is lower.
    """
    if place == 0:
        return means[0]
    if place == 1:
        return min(means[1], (means[0] + means[1]) / 2.0)
    return min(means[place], max(means[place - 2], means[place - 1]))


def _pace(fall: Sequence[float], fell_s: int) -> Pace:
    if len(fall) < 2 or fall[0] - min(fall[1:3]) < FAST_PERCENT:
        return Pace.SLOW
    if 100.0 - fall[0] >= fall[0] - min(fall):  # the greater part was lost slowly before
        return Pace.SLOW
    falls_on = min(fall[:-1]) - fall[-1] > STEP_PERCENT and fall[-1] > SETTLED_FROM_PERCENT
    if fell_s <= SUDDEN_S and not falls_on:
        return Pace.SUDDEN
    last = fall[-SETTLED_MEANS:]
    is_level = len(last) == SETTLED_MEANS and max(last) - min(last) <= 2.0 * STEP_PERCENT
    has_settled = is_level and min(last) > SETTLED_FROM_PERCENT
    return Pace.SETTLED if has_settled else Pace.COASTING
