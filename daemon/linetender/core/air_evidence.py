"""What the last seconds of air, and the parts around it, tell of a cause."""

from collections import deque
from collections.abc import Mapping

from linetender.core.air import Air
from linetender.core.air_pattern import (
    RISEN_FROM_PERCENT,
    STEADY_FROM_PERCENT,
    WHOLE_MEANS,
    Pattern,
    pattern_of,
)
from linetender.core.cause_table import Sign
from linetender.core.channel import Channel
from linetender.core.conditions.level import ANYWHERE
from linetender.core.instants import SECOND_NS
from linetender.core.means import MeanListener
from linetender.core.signals import Signal

FAN_MAINS = "fan_mains"
"""The role of the contact on the fan's supply: open where it is gone."""

GAP_NS = 3 * SECOND_NS
"""After a longer gap a pattern begins anew."""
LEAST_READINGS = 4
"""Of a second that is not over a mean is taken from so many readings on (chosen)."""
USUAL_WEIGHT = 0.1
"""Weight of the latest second in what is usual for fan and filter (chosen)."""

GONE_PART, LOW_PART, KEPT_PART = 0.2, 0.93, 0.97
"""Of the fan's usual speed (or current, for the first): gone, low, kept (chosen)."""
FILTER_KEPT_PART, FILTER_RISEN_PART = 0.5, 1.2
"""Of the filter's usual pressure, and of its usual pressure for the airflow (chosen)."""

_AROUND = (Signal.FAN_SPEED_RPM, Signal.FAN_CURRENT_A, Signal.FILTER_PRESSURE_PA)
_NAMES = tuple((signal, signal.value) for signal in _AROUND)


class AirEvidence(MeanListener):
    """Second's means of the air, and what was usual around it while the air was.

    Attributes:
        around: Channels of fan and filter: a mean goes with their values of that instant.
        means: (instant, air in percent of the baseline), oldest first.
        usual: Per signal of fan and filter its usual value.
        mains_open: Whether the contact on the fan's mains says that they are gone.
    """

    __slots__ = ("_air", "_channels", "_scale", "around", "mains_open", "means", "usual")

    SERIES = ("means",)
    VALUES = ("usual", "mains_open", "_scale")

    def __init__(self, air: Air | None, channels: Mapping[Signal, Channel]) -> None:
        self._air = air
        self._channels = channels
        self.around = tuple(channels[signal] for signal in _AROUND if signal in channels)
        self._scale = 0.0
        self.means: deque[tuple[int, float]] = deque(maxlen=WHOLE_MEANS)
        self.usual: dict[str, float] = {}
        self.mains_open = False

    def see_mean(self, now_ns: int, mean: float | None) -> bool:
        """Take the mean (Pa) of a closed window of the pressure across the element.

        Returns:
            False: no condition changes its mind.
        """
        air, means = self._air, self.means
        if air is None:
            return False
        is_other = air.percent_per_power != self._scale
        if is_other or (means and now_ns - means[-1][0] > GAP_NS):
            self._scale = air.percent_per_power
            means.clear()
        if mean is not None:
            percent = air.power(mean - air.plan.zero_pa) * air.percent_per_power
            means.append((now_ns, percent))
            if self.around and STEADY_FROM_PERCENT <= percent < RISEN_FROM_PERCENT:
                self._learn()
        return False

    def quiet_means(self) -> tuple[float, float]:
        """Whoever asks for a cause has taken what was put aside."""
        return ANYWHERE

    def lose_history(self) -> None:
        """Forget the seconds before the station was blind."""
        self.means.clear()

    def pattern(self) -> Pattern | None:
        """Return how the air went to where it is, the second that is not over included."""
        means = [percent for _, percent in self.means]
        air = self._air
        if air is not None:
            channel = self._channels[air.plan.signal]
            if channel.window_good >= LEAST_READINGS:
                means.append(self._percent(channel.window_sum / channel.window_good))
        return pattern_of(means)

    def is_seen(self, now_ns: int) -> bool:
        """Say whether the air is heard now."""
        air = self._air
        return air is not None and self._channels[air.plan.signal].is_heard(now_ns)

    def signs(self, pattern: Pattern) -> dict[Sign, str]:
        """Return the signs that show now, each with its evidence."""
        speed, current, filter_part = (self._part(signal, name) for signal, name in _NAMES)
        shown: dict[Sign, str] = {}
        if self.mains_open:
            shown[Sign.MAINS_OPEN] = "fan_mains=open"
        lowest = min(speed, current)
        if lowest < GONE_PART:
            shown[Sign.SPEED_GONE] = _sign("fan", lowest)
        if speed < LOW_PART:
            shown[Sign.SPEED_LOW] = _sign("fan", speed)
        if speed > KEPT_PART:
            shown[Sign.SPEED_KEPT] = _sign("fan", speed)
        if filter_part > FILTER_KEPT_PART:
            shown[Sign.FILTER_KEPT] = _sign("filter", filter_part)
        for_flow = 100.0 * filter_part / max(pattern.level, 1.0)
        if for_flow > FILTER_RISEN_PART:
            shown[Sign.FILTER_RISEN] = _sign("filter", for_flow)
        if pattern.breathes:
            shown[Sign.BREATH] = "breath=seen"
        return shown

    def _learn(self) -> None:
        for channel in self.around:
            name, value = channel.signal.value, channel.value
            if value is not None:
                usual = self.usual.get(name, value)
                self.usual[name] = usual + USUAL_WEIGHT * (value - usual)

    def _part(self, signal: Signal, name: str) -> float:
        """Return a value over its usual one; not a number where either is not known."""
        channel, usual = self._channels.get(signal), self.usual.get(name)
        if channel is None or channel.value is None or not usual:
            return float("nan")
        return channel.value / usual

    def _percent(self, mean_pa: float) -> float:
        air = self._air
        if air is None:
            return 0.0
        return air.power(mean_pa - air.plan.zero_pa) * air.percent_per_power


def _sign(name: str, part: float) -> str:
    return f"{name}={100.0 * part:.0f}%_of_usual"
