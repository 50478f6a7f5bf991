"""Air: what the pressure across the flow element says of it, its baseline, and when it is watched.

Where the line is calibrated, Q = k·Δp^n and everything is judged in L/min; else
pressure is judged as a fraction of this line's own normal, and no L/min exists. Every
pressure in here is over the sensor's zero: that is taken off once, where a reading comes in.
"""

from collections import deque
from statistics import median

from linetender.core.conditions.level import ANYWHERE, NOWHERE
from linetender.core.events import BaselineSet
from linetender.core.instants import SECOND_NS
from linetender.core.journal import Journal
from linetender.core.means import MeanListener
from linetender.core.plan import AirPlan
from linetender.core.signals import Signal, rounded

GOOD_SPREAD = 0.15
"""Good air: over its 1 s means, maximum less minimum stays under this part of the maximum."""
GOOD_PART_OF_NORMAL = 0.80
"""Good air: at least this part of the taught normal flow."""
STOPPED_PERCENT = 20.0
"""Below this part of the baseline the fan counts as off: the watch may arm anew afterwards."""
SLOW_PART = 0.5
"""Under this part of the normal flow the fan is off, or just starting (chosen)."""
ARM_AFTER_S = 60
"""The watch arms, and a baseline is taken, after this much good air (s = means)."""
PRE_USE_S = 20
"""The pre-use check takes the baseline from this many 1 s means."""
SPEED_MOVED = 0.05
SPEED_WITHIN_NS = 5 * SECOND_NS
"""A fan speed that moved by this part within this time explains a change of flow."""

_NO_SECOND = -1


class Air(MeanListener):
    """State of the air supply as far as one pressure sensor tells.

    Attributes:
        plan: How air is derived.
        baseline: B, in L/min where calibrated, else in Pa; None until taken.
        baseline_is_new: Whether the rules that compare with it have yet to hear of it.
        percent_per_power, flow_per_power: Factors that turn Δp^n into percent of
            baseline and L/min.
        is_armed: Whether loss of air is watched in idle and pre-use.
        run: 1 s means of the present run of good air (Pa, over the zero), oldest first.
        run_s: Length of that run (s).
        slow_s: Seconds with the fan off or slow since somebody began to count.
        slow_least_pa: Least magnitude of pressure meanwhile (Pa, over the zero).
    """

    __slots__ = (
        "_good_power",
        "_journal",
        "_mean_second",
        "_run_high",
        "_run_low",
        "_slow_power",
        "_speeds",
        "baseline",
        "baseline_is_new",
        "baseline_rpm",
        "flow_per_power",
        "is_armed",
        "may_arm",
        "percent_per_power",
        "plan",
        "run",
        "run_s",
        "slow_least_pa",
        "slow_s",
        "speed_ratio",
    )

    VALUES = (
        "baseline",
        "baseline_is_new",
        "baseline_rpm",
        "is_armed",
        "may_arm",
        "run_s",
        "slow_s",
        "slow_least_pa",
        "speed_ratio",
        "_run_low",
        "_run_high",
        "_mean_second",
    )
    SERIES = ("_speeds",)
    LISTS = ("run",)

    def __init__(self, plan: AirPlan, journal: Journal) -> None:
        self.plan = plan
        self._journal = journal
        self.baseline: float | None = None
        self.baseline_is_new = False
        self.baseline_rpm: float | None = None
        self.is_armed = False
        self.may_arm = True
        self.run: deque[float] = deque(maxlen=ARM_AFTER_S)
        self.run_s = self.slow_s = 0
        self.slow_least_pa = 0.0
        self.speed_ratio = 1.0
        self._run_low = self._run_high = 0.0
        self._mean_second = _NO_SECOND
        self._speeds: deque[tuple[int, float]] = deque()
        self.flow_per_power = 0.0
        self.percent_per_power = 0.0
        self._slow_power = SLOW_PART * self.power(plan.normal_pa)
        self._good_power = GOOD_PART_OF_NORMAL * self.power(plan.normal_pa)
        self.scale()

    @property
    def baseline_signal(self) -> Signal:
        """The quantity that the baseline is one of."""
        return self.plan.signal if self.plan.k_l_min is None else Signal.AIRFLOW_L_MIN

    @property
    def second(self) -> int:
        """The second of Watch time in which a mean was taken last; -1 before any."""
        return self._mean_second

    def scale(self) -> None:
        """Compute the factors after the baseline or the fan's speed changed."""
        plan = self.plan
        if plan.k_l_min is None:
            reference = (self.baseline or plan.normal_pa) ** plan.exponent
        else:
            self.flow_per_power = plan.k_l_min * plan.pressure_factor**plan.exponent
            reference = (self.baseline or self._flow(plan.normal_pa)) / self.flow_per_power
        self.percent_per_power = 100.0 / reference

    def power(self, pressure_pa: float) -> float:
        """Return Δp^n (Pa^n) of a pressure over the zero; 0 where no air flows the right way."""
        return pressure_pa**self.plan.exponent if pressure_pa > 0.0 else 0.0

    def percent(self, power: float) -> float:
        """Return the air in percent of the baseline, a change of fan speed being explained."""
        percent = power * self.percent_per_power
        ratio = self.speed_ratio
        if ratio == 1.0 or (ratio < 1.0 and not self._is_enough(power * self.flow_per_power)):
            return percent
        return percent / ratio

    # Good air, baseline, arming

    def see_mean(self, now_ns: int, mean: float | None) -> bool:
        """Take the mean reading (Pa) of a 1 s window that closed now.

        Returns:
            False: no alarm judges these means.
        """
        before, second = self._mean_second, now_ns // SECOND_NS
        self._mean_second = second
        if mean is None or (before != second - 1 and before != _NO_SECOND):
            self._end_run()
        else:
            self._take_second(now_ns, mean - self.plan.zero_pa)
        return False

    def quiet_means(self) -> tuple[float, float]:
        """With a baseline that everybody has heard of, none sets another while the hood is worn."""
        return NOWHERE if self.baseline is None or self.baseline_is_new else ANYWHERE

    def _take_second(self, now_ns: int, mean_pa: float) -> None:
        power = self.power(mean_pa)
        if not self.may_arm and self.percent(power) < STOPPED_PERCENT:
            self.may_arm = True
        if power < self._slow_power:
            least_pa = abs(mean_pa) if not self.slow_s else self.slow_least_pa
            self.slow_least_pa = min(least_pa, abs(mean_pa))
            self.slow_s += 1
        if not self._is_good(power):
            self._end_run()
            return
        self._extend_run(mean_pa)
        if self.run_s >= ARM_AFTER_S:
            if self.baseline is None:
                self.set_baseline(now_ns, self.run, "good_air")
            if self.may_arm:
                self.is_armed, self.may_arm = True, False

    def _is_good(self, power: float) -> bool:
        return power >= self._good_power and (
            self.plan.required_l_min is None or self._is_enough(power * self.flow_per_power)
        )

    def _is_enough(self, flow_l_min: float) -> bool:
        required = self.plan.required_l_min
        if required is None:
            return False
        return flow_l_min * (1.0 - 2.0 * self.plan.relative_uncertainty) >= required

    def _extend_run(self, mean_pa: float) -> None:
        if self.run and self._run_low <= mean_pa <= self._run_high:
            self.run.append(mean_pa)
            self.run_s += 1
            return
        low = min(self._run_low, mean_pa) if self.run else mean_pa
        high = max(self._run_high, mean_pa) if self.run else mean_pa
        low_flow, high_flow = self.power(low), self.power(high)
        if high_flow - low_flow >= GOOD_SPREAD * high_flow:
            self._end_run()
            low = high = mean_pa
        self._run_low, self._run_high = low, high
        self.run.append(mean_pa)
        self.run_s += 1

    def _end_run(self) -> None:
        self.run.clear()
        self.run_s = 0

    def take_pre_use_baseline(self, now_ns: int) -> bool:
        """Set the baseline from the last 20 s of good air; False while there is too little."""
        if self.run_s < PRE_USE_S:
            return False
        self.set_baseline(now_ns, deque(list(self.run)[-PRE_USE_S:]), "pre_use")
        return True

    def set_baseline(self, now_ns: int, means_pa: deque[float], source: str) -> None:
        """Set B from the median of 1 s means (Pa, over the zero)."""
        pressure_pa = median(means_pa)
        calibrated = self.plan.k_l_min is not None
        self.baseline = self._flow(pressure_pa) if calibrated else pressure_pa
        self.baseline_is_new = True
        self.baseline_rpm = self._speeds[-1][1] if self._speeds else None
        self.speed_ratio = 1.0
        self.scale()
        signal = self.baseline_signal
        self._journal.events.append(
            BaselineSet(now_ns, signal, rounded(signal, self.baseline), source)
        )

    def disarm(self, now_ns: int) -> None:
        """End the watch deliberately: it arms anew only after the fan was off."""
        self._end_run()
        self.is_armed = self.may_arm = False
        self.speed_ratio = 1.0
        if self.baseline is not None:
            self.baseline = None
            self._journal.events.append(BaselineSet(now_ns, self.baseline_signal, None, "ended"))
        self.scale()

    def forget_baseline(self, now_ns: int) -> None:
        """Drop a baseline that is too old to say anything; the normal counts until a new one."""
        self.speed_ratio = 1.0
        self.baseline_rpm = None
        if self.baseline is not None:
            self.baseline = None
            self.baseline_is_new = True
            self._journal.events.append(BaselineSet(now_ns, self.baseline_signal, None, "too_old"))
        self.scale()

    def _flow(self, pressure_pa: float) -> float:
        return self.flow_per_power * self.power(pressure_pa)

    # Fan speed

    def see_speed(self, now_ns: int, rpm: float) -> None:
        """Take the fan's speed: one that moved lately explains a change of flow."""
        while self._speeds and self._speeds[0][0] < now_ns - SPEED_WITHIN_NS:
            self._speeds.popleft()
        self._speeds.append((now_ns, rpm))
        oldest = self._speeds[0][1]
        base = self.baseline_rpm
        if base and rpm > 0.0 and oldest > 0.0 and abs(rpm - oldest) >= SPEED_MOVED * oldest:
            self.speed_ratio = rpm / base

    def lose_history(self) -> None:
        """Forget open windows: the station was blind for a while.

        After a start a line that runs may be in use, whatever was ended before it.
        """
        self._end_run()
        self.may_arm = not self.is_armed
        self._mean_second = _NO_SECOND
        self._speeds.clear()
