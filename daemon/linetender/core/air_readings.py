"""Readings of the pressure that air is derived from, put aside while nobody need look.

Nearly all readings are of this one signal, and each concerns up to three channels. One
within the *combined guard* (the pressure's own guard interval, cut with those of the
derived signals turned into pressures) changes nobody's mind: it adds to sums and
becomes the last value. That can wait until a window ends or anything else comes.
"""

from math import nextafter

from linetender.core.air import Air
from linetender.core.channel import MARGIN, Channel
from linetender.core.conditions.level import INFINITY, NOWHERE
from linetender.core.instants import NEVER_NS, SECOND_NS
from linetender.core.signals import Signal

KEPT_NS = 10 * SECOND_NS
"""None is put aside for longer (chosen: to wait longer gains nothing)."""
KNOWN = 64
"""So many intervals are remembered with the pressures they were turned into (chosen)."""
LARGEST_POWER = 1e30
"""No guard reaches beyond this (Pa^n): its pressure is still a finite number."""


class AirReadings:
    """The readings put aside, and which ones may be.

    Attributes:
        air: What is derived from them.
        signal: The pressure across the flow element.
        is_awaited: Whether somebody acts on each window of the pressure.
        low, high: The combined guard (Pa as read, the zero included); empty until made.
        until_ns: A reading from here on is looked at, unless `keeps` says no.
        look_ns: From here on it is looked at in any case.
        rests: Whether an off-delay runs meanwhile, for which each reading was looked at.
        instants, values: When the readings put aside came (ns), and what they were (Pa as
            read), oldest first. Whoever looks at anything absorbs them first.
    """

    __slots__ = (
        "_derived",
        "_flow",
        "_known",
        "_late",
        "_least_pa",
        "_percent",
        "_pressure",
        "_quiet_until_ns",
        "_waits",
        "air",
        "high",
        "instants",
        "is_awaited",
        "look_ns",
        "low",
        "rests",
        "signal",
        "until_ns",
        "values",
    )

    def __init__(self, air: Air, channels: dict[Signal, Channel]) -> None:
        self.air = air
        self.signal = air.plan.signal
        self.low, self.high = NOWHERE
        self.until_ns = self.look_ns = -NEVER_NS
        self.rests = False
        self.is_awaited = True
        self.instants: list[int] = []
        self.values: list[float] = []
        self._pressure = channels[self.signal]
        # Whether windows of all of them may be closed late, those of the pressure too.
        self._waits = False
        # Over the zero, so that a power can be taken of the difference.
        self._least_pa = nextafter(air.plan.zero_pa, INFINITY)
        self._percent = channels[Signal.AIR_PERCENT_OF_BASELINE]
        self._flow = channels.get(Signal.AIRFLOW_L_MIN)
        self._derived = [self._percent] if self._flow is None else [self._percent, self._flow]
        self._known: dict[tuple[float, float, float], tuple[float, float]] = {}
        # Channels with windows, which may be closed late; the first instant at which
        # somebody must look at them all the same.
        self._late: list[Channel] = []
        self._quiet_until_ns = NEVER_NS
        for channel in (self._pressure, *self._derived):
            channel.guard_listener = self

    def guard_moved(self) -> None:
        """Note that the guard of one of the channels moved: the next reading is looked at."""
        self.low, self.high = NOWHERE
        for channel in self._late:
            channel.quiet_until_ns = -NEVER_NS
        self._late.clear()

    def has_closed(self) -> bool:
        """Say whether a window of the pressure is over with the readings put aside."""
        return bool(self.instants) and self.instants[-1] >= self._pressure.window_end_ns

    def end_silence(self) -> None:
        """Note when the last reading came: a silence is counted from there."""
        if self.instants:
            self._pressure.last_good_ns = self.instants[-1]
            for channel in self._derived:
                channel.last_good_ns = self.instants[-1]

    def absorb(self) -> None:
        """Take the readings put aside, with the result of taking each when it came."""
        instants, values = self.instants, self.values
        if instants:
            self._pressure.absorb(instants, values)
            zero_pa, exponent = self.air.plan.zero_pa, self.air.plan.exponent
            for channel in self._derived:
                factor = self._factor(channel)
                if channel.listens:
                    derived = [(value - zero_pa) ** exponent * factor for value in values]
                    channel.absorb(instants, derived)
                else:
                    last = (values[-1] - zero_pa) ** exponent * factor
                    channel.absorb_last(instants[-1], last)
            instants.clear()
            values.clear()
        if self.rests:
            # What comes now may move the end of the off-delay that it waits for.
            self.guard_moved()

    def derived(self, pressure_pa: float) -> list[tuple[Channel, float]]:
        """Return the derived channels, each with what it makes of a pressure as read."""
        air = self.air
        power = air.power(pressure_pa - air.plan.zero_pa)
        made = [(self._percent, air.percent(power))]
        if self._flow is not None:
            made.append((self._flow, power * air.flow_per_power))
        return made

    def wait_for(self, is_awaited: bool) -> None:
        """Note whether somebody acts on each window of the pressure from now on."""
        if is_awaited is not self.is_awaited:
            self.is_awaited = is_awaited
            self.guard_moved()

    def keeps(self, now_ns: int, value: float) -> bool:
        """Say whether a reading between `until_ns` and `look_ns` may be put aside.

        Not after a gap. Moves `until_ns`, if so.
        """
        instants = self.instants
        if not self.low <= value <= self.high or not instants:
            return False
        if now_ns - instants[-1] > self._pressure.gap_ns:
            return False
        self.until_ns = min(now_ns + self._pressure.gap_ns, self.look_ns)
        return True

    def keep(self, now_ns: int, value: float) -> None:
        """Put a reading aside."""
        self.instants.append(now_ns)
        self.values.append(value)

    def combine(self, now_ns: int, look_ns: int) -> None:
        """Bring the combined guard and its end up to date, after a reading was looked at.

        Args:
            now_ns: When it came.
            look_ns: From here on each reading is awaited while an off-delay runs.
        """
        if self.low > self.high or now_ns >= self._quiet_until_ns:
            self._make_guard()
        until_ns = now_ns + KEPT_NS if self._waits else self._pressure.window_end_ns
        if self._quiet_until_ns < until_ns:
            until_ns = self._quiet_until_ns
        for channel in self._late:
            if channel.window_end_ns < until_ns and not channel.is_quiet():
                until_ns = channel.window_end_ns
        if self.rests:
            ends_ns = (channel.rest_until_ns for channel in (self._pressure, *self._derived))
            until_ns = min(until_ns, look_ns, *ends_ns)
        self.look_ns = until_ns
        # Up to there no reading ends a gap.
        heard_ns = now_ns + self._pressure.gap_ns
        self.until_ns = until_ns if until_ns < heard_ns else heard_ns

    def _make_guard(self) -> None:
        self.guard_moved()
        self._quiet_until_ns = NEVER_NS
        self._waits = not self.is_awaited
        self.rests = self._pressure.rest_until_ns != NEVER_NS
        low, high = max(self._pressure.rest_low, self._least_pa), self._pressure.rest_high
        for channel in self._derived:
            if low > high or self.air.speed_ratio != 1.0:
                return
            derived_low, derived_high = self._as_pressures(channel)
            low, high = max(low, derived_low), min(high, derived_high)
            self.rests = self.rests or channel.rest_until_ns != NEVER_NS
        if self._waits:
            mean_low, mean_high = self._let_wait(self._pressure)
            low, high = max(low, mean_low), min(high, mean_high)
        self.low, self.high = low, high

    def _as_pressures(self, channel: Channel) -> tuple[float, float]:
        """Return pressures at which a derived channel's values are surely within its guard.

        Limits are turned into pressures that lie `MARGIN` further in: what lies closer to a
        limit is looked at exactly.
        """
        low, high = self._let_wait(channel)
        factor = self._factor(channel)
        key = low, high, factor
        pressures = self._known.get(key)
        if pressures is None:
            if len(self._known) >= KNOWN:
                self._known.clear()
            pressures = self._known[key] = self._pressures_of(low, high, factor)
        return pressures

    def _let_wait(self, channel: Channel) -> tuple[float, float]:
        """Return a channel's guard, so narrow that its windows may be closed late if possible."""
        low, high = channel.rest_low, channel.rest_high
        if not channel.listens:
            return low, high
        self._late.append(channel)
        channel.quiet_low, channel.quiet_high = NOWHERE
        mean_low, mean_high, until_ns = channel.quiet_means()
        self._quiet_until_ns = min(self._quiet_until_ns, until_ns)
        if channel.value is None or not mean_low <= channel.value <= mean_high:
            # To look at a window in time costs less than to look at each reading.
            self._waits = False
            return low, high
        channel.quiet_low, channel.quiet_high = mean_low, mean_high
        channel.quiet_until_ns = until_ns
        return max(low, mean_low), min(high, mean_high)

    def _pressures_of(self, low: float, high: float, factor: float) -> tuple[float, float]:
        low_power = low * (1.0 + MARGIN) / factor
        high_power = min(high * (1.0 - MARGIN) / factor, LARGEST_POWER)
        if low_power > high_power or high_power <= 0.0:
            return NOWHERE
        inverse = 1.0 / self.air.plan.exponent
        zero_pa = self.air.plan.zero_pa
        margin_pa = MARGIN * abs(zero_pa)
        low_pa = max(low_power, 0.0) ** inverse + zero_pa + margin_pa
        return low_pa, high_power**inverse + zero_pa - margin_pa

    def _factor(self, channel: Channel) -> float:
        air = self.air
        return air.flow_per_power if channel is self._flow else air.percent_per_power
