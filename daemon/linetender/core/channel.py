"""One signal inside the core: its last value, its guard interval, its open window."""

from bisect import bisect_left
from math import copysign
from typing import Protocol

from linetender.core.alarm import Alarm
from linetender.core.conditions.condition import ABSENT, Verdict
from linetender.core.conditions.level import INFINITY, NOWHERE, LevelCondition
from linetender.core.conditions.recent import Recent
from linetender.core.conditions.stuck import StuckCondition
from linetender.core.instants import NEVER_NS
from linetender.core.means import MeanListener
from linetender.core.signals import SIGNAL_FACTS, Signal

MARGIN = 1e-9
"""A limit of means is drawn in by this part, far more than the arithmetic errs."""


class SilenceListener(Protocol):
    """Something that a good reading reassures."""

    verdict: Verdict

    def heard(self) -> None:
        """Note a good reading."""

    def missed(self, signal: Signal, now_ns: int) -> None:
        """Note a bad or doubtful reading of one of its signals."""

    def due_ns(self) -> int:
        """Return when the silence will have lasted too long."""


class GuardListener(Protocol):
    """Something that builds on the guard interval of a channel."""

    def guard_moved(self) -> None:
        """Note that the interval was computed anew."""


class Channel:
    """State of one signal, and the conditions that look at it.

    Attributes:
        last_good_ns: Arrival of the last good reading; -NEVER_NS before the first.
        still_value: The last good value, kept through bad readings.
        moved_ns: When a good value last differed from the one before.
        low, high: The guard interval: a good value within it changes no level's mind.
        rest_low, rest_high, rest_until_ns: The same while only an off-delay makes the guard
            empty: until its end such a value changes nothing, unless there was a gap.
        guard_listener: Who is told when the guard interval is computed anew.
        listens: Whether each good value must be added to a window.
        quiet_low, quiet_high, quiet_until_ns: Means that change no mind, and until when:
            a window of such a mean is closed without a look. Nowhere, unless whoever
            listens to the guard says so.
    """

    __slots__ = (
        "alarms",
        "doubt",
        "gap_ns",
        "guard_listener",
        "high",
        "last_good_ns",
        "levels",
        "listens",
        "low",
        "mean_listeners",
        "moved_ns",
        "quiet_high",
        "quiet_low",
        "quiet_until_ns",
        "reason",
        "recents",
        "rest_high",
        "rest_low",
        "rest_until_ns",
        "signal",
        "silences",
        "still_value",
        "stucks",
        "value",
        "window_bad",
        "window_end_ns",
        "window_good",
        "window_ns",
        "window_sum",
    )

    INSTANTS = ("last_good_ns", "moved_ns", "window_end_ns")
    VALUES = (
        "value",
        "still_value",
        "reason",
        "doubt",
        "window_sum",
        "window_good",
        "window_bad",
    )

    def __init__(self, signal: Signal) -> None:
        facts = SIGNAL_FACTS[signal]
        self.signal = signal
        self.gap_ns = facts.gap_ns
        self.window_ns = facts.window_ns
        self.last_good_ns = -NEVER_NS
        self.moved_ns = -NEVER_NS
        self.value: float | None = None
        self.still_value: float | None = None
        self.reason: str | None = None
        self.doubt: str | None = None
        self.low, self.high = NOWHERE
        self.rest_low, self.rest_high = NOWHERE
        self.rest_until_ns = -NEVER_NS
        self.levels: list[LevelCondition] = []
        self.stucks: list[StuckCondition] = []
        self.silences: list[SilenceListener] = []
        self.mean_listeners: list[MeanListener] = []
        self.alarms: list[Alarm] = []
        self.recents: list[Recent] = []
        self.listens = False
        self.guard_listener: GuardListener | None = None
        self.quiet_low, self.quiet_high = NOWHERE
        self.quiet_until_ns = -NEVER_NS
        self.window_end_ns = -NEVER_NS
        self.window_sum = 0.0
        self.window_good = 0
        self.window_bad = 0

    def attach(self, alarm: Alarm) -> None:
        """Judge this alarm whenever the channel's conditions change their mind."""
        if alarm not in self.alarms:
            self.alarms.append(alarm)

    def requiet(self) -> None:
        """Compute the guard interval anew.

        It is empty while an off-delay runs (which ends on a good reading), while a
        silence has to be reassured, and after a bad or doubtful reading.
        """
        self.listens = bool(self.mean_listeners or self.stucks)
        if self._is_unsure() or any([alarm.must_see for alarm in self.alarms if alarm.present]):
            self._shut()
            return
        self.low, self.high = self.rest_low, self.rest_high = self._quiet()
        self.rest_until_ns = NEVER_NS
        if self.guard_listener is not None:
            self.guard_listener.guard_moved()
        elif self.listens:
            self.quiet_low, self.quiet_high, self.quiet_until_ns = self.quiet_means()

    def _shut(self) -> None:
        """Let every value be looked at."""
        self.low, self.high = self.rest_low, self.rest_high = NOWHERE
        self.rest_until_ns = NEVER_NS
        if self.guard_listener is not None:
            self.guard_listener.guard_moved()

    def _is_unsure(self) -> bool:
        if self.reason is not None or self.doubt is not None:
            return True
        for silence in self.silences:
            if silence.verdict is not ABSENT:
                return True
        return False

    def _rest(self) -> None:
        """Now that every alarm was judged, find how long the guard is empty for off-delays only."""
        if self.low <= self.high:
            return
        delayed = [alarm.clear_due_ns for alarm in self.alarms if alarm.must_see]
        if delayed and NEVER_NS not in delayed and not self._is_unsure():
            self.rest_low, self.rest_high = self._quiet()
            self.rest_until_ns = min(delayed)

    def _quiet(self) -> tuple[float, float]:
        low, high = -INFINITY, INFINITY
        for level in self.levels:
            level_low, level_high = level.quiet
            if level_low > low:
                low = level_low
            if level_high < high:
                high = level_high
        return low, high

    def passes(self, now_ns: int, value: float) -> bool:
        """Take a good value that changes nobody's mind; False if somebody must look at it.

        Nearly every reading ends here, so it is written for speed.
        """
        if not self.low <= value <= self.high:
            return False
        if self.listens:
            if now_ns >= self.window_end_ns:
                if now_ns >= self.quiet_until_ns or not self.is_quiet():
                    return False
                if now_ns - self.last_good_ns > self.gap_ns:
                    return False
                self._pass_means([(now_ns, self.window_sum / self.window_good)], value)
                self.window_end_ns = (now_ns // self.window_ns + 1) * self.window_ns
                self.window_sum, self.window_good, self.window_bad = 0.0, 0, 0
            self.window_sum += value
            self.window_good += 1
            if value != self.still_value:
                self.still_value = value
                self.moved_ns = now_ns
        self.last_good_ns = now_ns
        self.value = value
        return True

    def absorb(self, instants: list[int], values: list[float]) -> None:
        """Take good values at once, of which none, and no mean of theirs, changes a mind."""
        total, good, end_ns = self.window_sum, self.window_good, self.window_end_ns
        first, count, last_ns, window_ns = 0, len(values), instants[-1], self.window_ns
        closed: list[tuple[int, float]] = []
        closed_by = 0.0
        while first < count:
            now_ns = instants[first]
            if now_ns >= end_ns:
                if good:
                    closed.append((now_ns, total / good))
                    closed_by = values[first]
                total, good = 0.0, 0
                end_ns = now_ns - now_ns % window_ns + window_ns
            end = count if last_ns < end_ns else bisect_left(instants, end_ns, first)
            for value in values[first:end]:
                total += value
            good += end - first
            first = end
        self.window_sum, self.window_good, self.window_end_ns = total, good, end_ns
        if closed:
            self.window_bad = 0
            self._pass_means(closed, closed_by)
        self._note_moves(instants, values)
        self.absorb_last(instants[-1], values[-1])

    def absorb_last(self, now_ns: int, value: float) -> None:
        """Take the last of several good values of which none changes a mind."""
        self.last_good_ns, self.value = now_ns, value
        if self.rest_until_ns != NEVER_NS:
            for level in self.levels:
                level.note(value)

    def is_quiet(self) -> bool:
        """Say whether the open window may be closed late, as far as its values go."""
        good = self.window_good
        if not good or good < self.window_bad:
            return False
        return self.quiet_low <= self.window_sum / good <= self.quiet_high

    def quiet_means(self) -> tuple[float, float, int]:
        """Return the means that change no mind, and until when: windows may be closed late."""
        low, high, until_ns = -INFINITY, INFINITY, NEVER_NS
        for listener in self.mean_listeners:
            quiet_low, quiet_high = listener.quiet_means()
            if quiet_low > low:
                low = quiet_low
            if quiet_high < high:
                high = quiet_high
            quiet_until_ns = listener.quiet_until_ns()
            if quiet_until_ns < until_ns:
                until_ns = quiet_until_ns
        for stuck in self.stucks:
            if stuck.verdict is not ABSENT:
                return *NOWHERE, NEVER_NS
            until_ns = min(until_ns, stuck.quiet_until_ns(self.moved_ns))
        # A mean of values at the very limit may lie over it by rounding.
        return low * (1.0 + copysign(MARGIN, low)), high * (1.0 - copysign(MARGIN, high)), until_ns

    def _pass_means(self, closed: list[tuple[int, float]], closed_by: float) -> None:
        """Take means of closed windows, of which none changes a mind.

        Args:
            closed: (instant, mean), oldest first.
            closed_by: The value that closed the last of them.
        """
        for listener in self.mean_listeners:
            listener.pass_means(closed)
        for stuck in self.stucks:
            stuck.pass_window(closed_by)

    def _note_moves(self, instants: list[int], values: list[float]) -> None:
        """Find the last of these values that differs from the one before it."""
        place, last = len(values) - 1, values[-1]
        while place and values[place - 1] == last:
            place -= 1
        if place or self.still_value != last:
            self.moved_ns = instants[place]
        self.still_value = last

    def take(self, now_ns: int, value: float) -> bool:
        """Take any good value; close the window that ended before it.

        Returns:
            Whether a condition that judges windows changed its mind.
        """
        changed = False
        if self.listens:
            if value != self.still_value:
                self.still_value = value
                self.moved_ns = now_ns
            if now_ns >= self.window_end_ns:
                changed = self._look_at_window(now_ns)
                self.window_sum, self.window_good = 0.0, 0
            self.window_sum += value
            self.window_good += 1
        self.last_good_ns = now_ns
        self.value = value
        return changed

    def judge(self, now_ns: int, value: float, previous_good_ns: int) -> None:
        """Let every level and silence look at a good value, then the alarms decide."""
        self.reason = self.doubt = None
        if now_ns - previous_good_ns > self.gap_ns:
            for alarm in self._unsure_alarms(now_ns):
                alarm.restart_off_delay()
        for level in self.levels:
            level.see(value)
        for silence in self.silences:
            silence.heard()
        self.decide(now_ns)

    def decide(self, now_ns: int) -> None:
        """Let the alarms act on verdicts that a good value changed."""
        for alarm in self.alarms:
            alarm.judge(now_ns)
        for recent in self.recents:
            recent.note(now_ns)
        self.requiet()
        self._rest()

    def doubtful(self, now_ns: int, value: float, doubt: str) -> None:
        """Take a degraded reading: it may raise, and never clears or reassures."""
        self.value, self.doubt, self.reason = value, doubt, None
        for level in self.levels:
            level.doubt(value)
        self._miss(now_ns)

    def lose(self, now_ns: int, reason: str) -> None:
        """Take a bad reading: what was unsettled stays so."""
        for level in self.levels:
            level.lose()
        self.value, self.reason, self.doubt = None, reason, None
        self._miss(now_ns)

    def lose_history(self) -> None:
        """Forget the open window, and since when the value stood."""
        self.window_end_ns = self.moved_ns = -NEVER_NS
        self.value = self.still_value = None
        self.window_sum, self.window_good, self.window_bad = 0.0, 0, 0

    def _miss(self, now_ns: int) -> None:
        if now_ns < self.window_end_ns:
            self.window_bad += 1
        elif self.listens:
            self._look_at_window(now_ns)
            self.window_sum, self.window_good, self.window_bad = 0.0, 0, 1
        for silence in self.silences:
            silence.missed(self.signal, now_ns)
        for alarm in self._unsure_alarms(now_ns):
            alarm.restart_off_delay()
            alarm.judge(now_ns, good=False)
        self._shut()

    def _look_at_window(self, now_ns: int) -> bool:
        good, bad = self.window_good, self.window_bad
        self.window_end_ns = (now_ns // self.window_ns + 1) * self.window_ns
        self.window_bad = 0
        if not good and not bad:
            return False
        changed = False
        mean = self.window_sum / good if good and good >= bad else None
        for listener in self.mean_listeners:
            changed = listener.see_mean(now_ns, mean) or changed
        for stuck in self.stucks:
            still_value = None if mean is None else self.still_value
            changed = stuck.see_moved(now_ns, self.moved_ns, still_value) or changed
        return changed

    def is_heard(self, now_ns: int) -> bool:
        """Say whether its last reading was good, and no gap has followed."""
        is_good = self.value is not None and self.doubt is None
        return is_good and now_ns - self.last_good_ns <= self.gap_ns

    def _unsure_alarms(self, now_ns: int) -> list[Alarm]:
        """The alarms that a lost reading or a gap of this signal concerns."""
        signal = self.signal
        return [
            alarm for alarm in self.alarms if not alarm.condition.is_sure_without(signal, now_ns)
        ]
