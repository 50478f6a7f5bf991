"""Air of a recorded session as arrays, and when the hood was worn."""

from array import array
from pathlib import Path

import numpy as np

from linetender.core.events import BaselineSet, StageChanged
from linetender.core.inputs import Input, Reading
from linetender.core.signals import SIGNAL_FACTS, Signal
from linetender.core.stages import Stage
from linetender.recording.lines import Segment
from linetender.reports.air_series import AirSeries
from linetender.reports.level_alarms import BAD, DOUBTFUL, GOOD, Applied, LevelSeries
from linetender.reports.session_clock import SessionClock
from linetender.reports.session_reading import Told, parts_of


def air_percent_of(files: tuple[Path, ...], told: Told = lambda read, size: None) -> LevelSeries:
    """Read a session's air in percent of its normal; rules apply while the hood is worn.

    The segments stand one after the other on one axis; a restart is a gap.

    Args:
        files: Of the session, in the order in which they were written.
        told: Called now and then with the bytes read and the size of all files.

    Raises:
        RecordingError: a file cannot be read or is damaged.
    """
    collected = _Collected()
    for part, watch in parts_of(files, told):
        if isinstance(part, Segment):
            assert watch is not None, "a header comes with a Watch"
            collected.clock.place(part)
            collected.air = AirSeries(watch.air) if watch.air is not None else None
            collected.enter(watch.use.stage, part.started_ns)
            continue
        inputs = part.inputs
        for event in part.events:
            if isinstance(event, StageChanged | BaselineSet):
                place = sum(1 for item in inputs if item.arrived_ns < event.due_ns)
                collected.take(inputs[:place])
                inputs = inputs[place:]
                collected.turn(event)
        collected.take(inputs)
        collected.until_ns = collected.clock.reach(part.until_ns)
    return collected.series()


class _Collected:
    """A session while it is read."""

    def __init__(self) -> None:
        self.clock = SessionClock()
        self.air: AirSeries | None = None
        self.until_ns = 0
        self._at_ns = array("q")
        self._value = array("d")
        self._quality = array("B")
        self._applied: list[Applied] = []
        self._worn_from_ns: int | None = None

    def take(self, inputs: list[Input]) -> None:
        air, shift_ns = self.air, self.clock.shift_ns
        if air is None:
            return
        for item in inputs:
            if type(item) is not Reading:
                continue
            if item.signal is air.signal:
                self._at_ns.append(item.arrived_ns + shift_ns)
                if item.value is None:
                    self._value.append(0.0)
                    self._quality.append(BAD)
                else:
                    self._value.append(air.percent_and_flow(item.value)[0])
                    self._quality.append(GOOD if item.doubt is None else DOUBTFUL)
            elif item.signal is Signal.FAN_SPEED_RPM and item.value is not None and not item.doubt:
                air.see_speed(item.arrived_ns, item.value)

    def turn(self, event: StageChanged | BaselineSet) -> None:
        if isinstance(event, StageChanged):
            self.enter(event.after, event.due_ns)
        elif self.air is not None:
            self.air.take(event)

    def enter(self, stage: Stage, at_ns: int) -> None:
        here_ns = at_ns + self.clock.shift_ns
        is_worn = stage is Stage.WORN
        if is_worn and self._worn_from_ns is None:
            self._worn_from_ns = here_ns
        elif not is_worn and self._worn_from_ns is not None:
            self._applied.append(Applied(self._worn_from_ns, here_ns))
            self._worn_from_ns = None

    def series(self) -> LevelSeries:
        if self._worn_from_ns is not None:
            self._applied.append(Applied(self._worn_from_ns, self.until_ns))
        return LevelSeries(
            np.frombuffer(self._at_ns, dtype=np.int64),
            np.frombuffer(self._value, dtype=np.float64),
            np.frombuffer(self._quality, dtype=np.uint8),
            SIGNAL_FACTS[Signal.AIR_PERCENT_OF_BASELINE].gap_ns,
            self.until_ns,
            tuple(self._applied),
        )
