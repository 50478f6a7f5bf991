"""A value on its way over a limit: how soon, if it goes on as it does.

The level is an exponentially weighted mean of the window means (S. W. Roberts,
Technometrics 1 (1959) 239), the slope the median of the slopes between all pairs of
points (P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379): one pair of odd points moves
neither. Points are means over a twelfth of the span, so that 66 pairs are all there are. Where
readings come more slowly than that, each is a point, and the span as long as twelve take.
"""

from collections import deque
from typing import ClassVar

from linetender.core.conditions.condition import ABSENT, PRESENT, Verdict
from linetender.core.conditions.level import INFINITY, NOWHERE
from linetender.core.conditions.windowed import WindowedCondition
from linetender.core.instants import NEVER_NS
from linetender.core.plan import Heading, Side
from linetender.core.signals import SIGNAL_FACTS, Signal

POINTS = 12
"""Points in the span that the slope is taken over (chosen: 66 pairs cost microseconds)."""

LEAST_POINTS = 6
"""With fewer nothing is foretold (chosen: half of the span)."""

SURE_PART = 0.75
"""This part of the pairs must lead over the limit to raise; half of them to stay (chosen)."""


class HeadingCondition(WindowedCondition):
    """Present when the level is over the limit, or will be within `within_ns`.

    Stays present while the level, or where the median slope leads it, is past the clear
    limit. A level that was over the limit and is back ends it, and nothing is foretold from
    points before that. Else unknown while there are too few points.

    Attributes:
        level: Smoothed value; None before the first mean.
        slope: Median of the slopes (per ns); None while there are too few points.
        sure_slope: The slope that `SURE_PART` of the pairs reach or exceed on the way
            to the limit.
        points: (middle of its window, mean), oldest first.
        foretold: Whether it is present because of where the slope led.
        seen_ns: When the last mean came.
    """

    __slots__ = (
        "_plan",
        "_sign",
        "foretold",
        "level",
        "point_end_ns",
        "point_n",
        "point_sum",
        "points",
        "seen_ns",
        "slope",
        "sure_slope",
    )

    INSTANTS = ("point_end_ns", "seen_ns")
    VALUES = (
        *WindowedCondition.VALUES,
        "foretold",
        "level",
        "slope",
        "sure_slope",
        "point_sum",
        "point_n",
    )
    SERIES: ClassVar[tuple[str, ...]] = ("points",)

    def __init__(self, plan: Heading) -> None:
        super().__init__(plan.signal)
        self._plan = plan
        self._sign = -1.0 if plan.side is Side.DOWN else 1.0
        self.level: float | None = None
        self.slope: float | None = None
        self.sure_slope: float | None = None
        self.foretold = False
        self.points: deque[tuple[int, float]] = deque(maxlen=POINTS)
        self.point_end_ns = self.seen_ns = -NEVER_NS
        self.point_sum = 0.0
        self.point_n = 0

    def begin(self, now_ns: int) -> None:
        """Foretell from what comes from now on: a fan that ran up is no heading."""
        self._forget()

    def baseline_set(self) -> None:
        """Start anew where the normal moved: parts of another make no line with these."""
        if self.signal is Signal.AIR_PERCENT_OF_BASELINE:
            self._forget()

    def lose_history(self) -> None:
        """Forget the points before the station was blind."""
        if self.verdict is Verdict.ABSENT:
            self.verdict = Verdict.UNKNOWN
        self.points.clear()
        self.slope = self.sure_slope = None
        self.point_sum, self.point_n = 0.0, 0
        self.point_end_ns = -NEVER_NS

    def pass_means(self, closed: list[tuple[int, float]]) -> None:
        """Add to level and point: before `quiet_until_ns` no point ends."""
        smoothing, level, total = self._plan.smoothing, self.level or 0.0, self.point_sum
        for _, mean in closed:
            level += smoothing * (mean - level)
            total += mean
        self.level = level
        now_ns, self._last = closed[-1]
        if self._plan.within_ns:
            self.seen_ns = now_ns
            self.point_sum = total
            self.point_n += len(closed)

    def quiet_means(self) -> tuple[float, float]:
        """While absent, no mean that lies before the limit and leads to none over it.

        While present, none that does not lie, or where it was foretold lead, past the clear
        limit. The level stays between means, so what holds for each of them holds for it too.
        """
        plan = self._plan
        if self.level is None:
            return NOWHERE
        if self._present:
            return self._staying()
        foretells = self.sure_slope is not None or not plan.within_ns
        if foretells and self.verdict is not ABSENT:
            return NOWHERE
        needed = plan.limit - (self.sure_slope or 0.0) * plan.within_ns
        if plan.side is Side.DOWN:
            return max(plan.limit, needed), INFINITY
        return -INFINITY, min(plan.limit, needed)

    def _staying(self) -> tuple[float, float]:
        """Return which means leave a present heading as it is, foretold or not."""
        plan, down = self._plan, self._sign < 0.0
        if self.verdict is not PRESENT or self.level is None:
            return NOWHERE
        clear = plan.limit - plan.deadband * self._sign
        far = -INFINITY if down else INFINITY
        if self.foretold:
            led = clear - (self.slope or 0.0) * plan.within_ns
            far, clear = plan.limit, max(clear, led) if down else min(clear, led)
        low, high = (far, clear) if down else (clear, far)
        return (low, high) if low <= self.level <= high else NOWHERE

    def quiet_until_ns(self) -> int:
        """The slope is taken anew with each point."""
        return self.point_end_ns if self._plan.within_ns else NEVER_NS

    def _forget(self) -> None:
        self.lose_history()
        self.level = None
        self._present = self.foretold = False
        self.verdict = Verdict.UNKNOWN

    def _judge(self, now_ns: int, mean: float) -> Verdict:
        plan = self._plan
        before = self.level
        level = self.level = mean if before is None else before + plan.smoothing * (mean - before)
        if plan.within_ns:
            self._gather(now_ns, mean)
        deadband = plan.deadband if self._present else 0.0
        slope = self.slope if self._present else self.sure_slope
        if self._is_over(level, deadband):
            self.foretold = self.foretold and not self._is_over(level, 0.0)
            return Verdict.PRESENT
        if not plan.within_ns:
            return Verdict.ABSENT
        if self._present and not self.foretold:
            # There and back: parts of that fall foretell nothing.
            self.lose_history()
            return Verdict.ABSENT
        if slope is None:
            return Verdict.ABSENT if self.verdict is Verdict.ABSENT else Verdict.UNKNOWN
        self.foretold = self._is_over(level + slope * plan.within_ns, deadband)
        return Verdict.PRESENT if self.foretold else Verdict.ABSENT

    def _is_over(self, value: float, deadband: float) -> bool:
        return (value - self._plan.limit) * self._sign > -deadband

    def _gather(self, now_ns: int, mean: float) -> None:
        """Add a mean to the open point; close the one that ended before it."""
        facts = SIGNAL_FACTS[self.signal]
        if now_ns - self.seen_ns > facts.gap_ns + facts.window_ns:
            self.lose_history()
        self.seen_ns = now_ns
        width_ns = self._plan.over_ns // POINTS
        if now_ns >= self.point_end_ns:
            if self.point_n:
                middle_ns = self.point_end_ns - width_ns // 2
                self.points.append((middle_ns, self.point_sum / self.point_n))
                self._fit()
            self.point_end_ns = (now_ns // width_ns + 1) * width_ns
            self.point_sum, self.point_n = 0.0, 0
        self.point_sum += mean
        self.point_n += 1

    def _fit(self) -> None:
        points = list(self.points)
        if len(points) < LEAST_POINTS:
            return
        slopes = [
            (later - earlier) / (later_ns - earlier_ns)
            for place, (earlier_ns, earlier) in enumerate(points)
            for later_ns, later in points[place + 1 :]
        ]
        slopes.sort()
        middle = len(slopes) // 2
        is_odd = len(slopes) % 2
        self.slope = slopes[middle] if is_odd else (slopes[middle - 1] + slopes[middle]) / 2
        exceeded_by = int((1.0 - SURE_PART) * len(slopes))
        self.sure_slope = slopes[exceeded_by if self._sign > 0.0 else -1 - exceeded_by]
