"""What became of a use, told in one line at its end and kept in the station's memory."""

from typing import Protocol

import msgspec

from linetender.core.alarm_table import ACTIVE, SOUNDING, AlarmState
from linetender.core.events import (
    AlarmChanged,
    Event,
    FalseLeave,
    StageChanged,
    StepChanged,
    StepState,
)
from linetender.core.instants import to_seconds
from linetender.core.pre_use import WHOLE, CheckState
from linetender.core.signals import Signal
from linetender.core.snapshot import Snapshot
from linetender.core.stages import Priority, Stage
from linetender.memory.sessions import CheckRecord, SessionRecord
from linetender.runtime.clock import WallClock

_CHECK_WORDS = {"passed": "checked", "refused": "NOT CHECKED", "none": "NOT CHECKED"}
_LEAST = {
    Signal.AIR_PERCENT_OF_BASELINE: "least air {:.0f} % of normal",
    Signal.SPO2_PERCENT: "least SpO2 {:.0f} %",
}


class Index(Protocol):
    """Where records go."""

    def begin(self, record: SessionRecord) -> None:
        """Keep a use that has begun."""

    def update(self, record: SessionRecord) -> None:
        """Keep how the last use stands now."""

    def check(self, record: CheckRecord) -> None:
        """Keep a check."""


class SessionTally:
    """A listener of the live station that counts each alarm once, as the gravest it became.

    Args:
        index: Where records go; None: nowhere.
        wall: The time of day.
        recording: Name of the file, or empty.
        open_use: A use that the run before left open, or None.
    """

    def __init__(
        self,
        index: Index | None,
        wall: WallClock,
        recording: str,
        open_use: SessionRecord | None = None,
    ) -> None:
        self._index = index
        self._wall = wall
        self._recording = recording
        self._use = open_use
        self._is_open = open_use is not None
        self._is_first = True
        self._worn_ns = 0
        self._least: dict[Signal, float] = {}
        # Rules that stood at its beginning: whether as a LEAVE.
        self._stood: dict[str, bool] = {} if open_use is None else dict(open_use.stood)
        self._looks: set[str] = set()  # rules whose alarm was last counted as a LOOK

    def tell(self, events: tuple[Event, ...], snapshot: Snapshot) -> tuple[str, ...]:
        """Take what happened; return lines for people."""
        if self._is_first:
            self._is_first = False
            self._go_on(events, snapshot)
        lines: list[str] = []
        if snapshot.worn_for_ns is not None:
            self._worn_ns = snapshot.worn_for_ns
            self._note_least(snapshot)
        for event in events:
            match event:
                case StageChanged(after=Stage.WORN):
                    self._begin(snapshot)
                    self._note_standing(events, snapshot)
                case StageChanged(before=Stage.WORN):
                    lines.append(self._end())
                case AlarmChanged():
                    self._count(event)
                case FalseLeave():
                    self._mark()
                case StepChanged() if event.step == WHOLE and self._index is not None:
                    self._index.check(self._checked(event, snapshot))
        return tuple(lines)

    def _go_on(self, events: tuple[Event, ...], snapshot: Snapshot) -> None:
        if self._is_open:
            standing = _standing(events, snapshot)
            self._looks = {one for one, is_leave in standing if not is_leave} - set(self._stood)
        if snapshot.stage is Stage.WORN and not self._is_open:
            self._begin(snapshot)
        elif snapshot.stage is not Stage.WORN and self._is_open and self._use is not None:
            self._is_open = False
            self._change(summary="How it ended is not known.", ended_at=self._wall().at)

    def _begin(self, snapshot: Snapshot) -> None:
        wall, check = self._wall(), snapshot.check
        passed = check.state is CheckState.PASSED
        state = "none" if check.state is CheckState.NONE else "passed" if passed else "refused"
        self._least.clear()
        self._stood.clear()
        self._looks.clear()
        self._worn_ns = 0
        self._use = SessionRecord(
            started_at=wall.at,
            synchronised=wall.synchronised,
            recording=self._recording,
            check=state,
            overrides=check.overrides,
        )
        self._is_open = True
        if self._index is not None:
            self._index.begin(self._use)

    def _end(self) -> str:
        use = self._use
        if use is None or not self._is_open:
            return "The use has ended."
        least = [
            words.format(self._least[one]) for one, words in _LEAST.items() if one in self._least
        ]
        minutes = to_seconds(self._worn_ns) / 60.0
        counts = [self._counted("LEAVE", use.leaves), self._counted("LOOK", use.looks)]
        parts = [*counts, *least, _CHECK_WORDS[use.check]]
        if use.overrides:
            parts.append(f"without {', '.join(step for step, _ in use.overrides)}")
        line = f"Worn for {minutes:.0f} min: {', '.join(parts)}."
        self._is_open = False
        self._change(summary=line, ended_at=self._wall().at)
        return line

    def _note_standing(self, events: tuple[Event, ...], snapshot: Snapshot) -> None:
        """Count what began before the hood went on and still stands: it is never raised in use."""
        self._stood.update(_standing(events, snapshot))
        if self._stood:
            self._change(stood=tuple(self._stood.items()))

    def _counted(self, word: str, began: int) -> str:
        stood = sum(is_leave is (word == "LEAVE") for is_leave in self._stood.values())
        return f"{began} {word}" + (f" besides {stood} that stood from the start" if stood else "")

    def _count(self, event: AlarmChanged) -> None:
        begins = event.after is AlarmState.UNACKNOWLEDGED
        if self._use is None or not self._is_open or not begins:
            return
        goes_on = event.before is AlarmState.ACKNOWLEDGED or event.before is event.after
        if event.priority is not Priority.HIGH:
            if not goes_on:
                self._looks.add(event.rule)
                self._change(looks=self._use.looks + 1)
        elif not goes_on:
            self._looks.discard(event.rule)
            self._change(leaves=self._use.leaves + 1)
        elif event.rule in self._looks:
            self._looks.discard(event.rule)
            self._change(looks=self._use.looks - 1, leaves=self._use.leaves + 1)
        elif self._stood.get(event.rule) is False:
            # As a LOOK it stood from the start; a LEAVE it became in this use.
            del self._stood[event.rule]
            stood = tuple(self._stood.items())
            self._change(stood=stood, leaves=self._use.leaves + 1)

    def _mark(self) -> None:
        if self._use is not None:
            self._change(false_leaves=self._use.false_leaves + 1)

    def _change(self, **changes: object) -> None:
        if self._use is not None:
            self._use = msgspec.structs.replace(self._use, **changes)
            if self._index is not None:
                self._index.update(self._use)

    def _note_least(self, snapshot: Snapshot) -> None:
        for view in snapshot.signals:
            if view.signal in _LEAST and view.value is not None:
                least = self._least.get(view.signal, view.value)
                self._least[view.signal] = min(least, view.value)

    def _checked(self, event: StepChanged, snapshot: Snapshot) -> CheckRecord:
        wall, check = self._wall(), snapshot.check
        return CheckRecord(
            ended_at=wall.at,
            synchronised=wall.synchronised,
            recording=self._recording,
            outcome="ready" if event.state is StepState.MET else "refused",
            why=event.why,
            steps=tuple((step.id, step.state.value, step.why) for step in check.steps),
            overrides=check.overrides,
        )


def _standing(events: tuple[Event, ...], snapshot: Snapshot) -> list[tuple[str, bool]]:
    """Return (rule, whether as a LEAVE) of what stands and is not raised just now."""
    raised = {event.rule for event in events if isinstance(event, AlarmChanged)}
    return [
        (view.rule, view.priority is Priority.HIGH)
        for view in snapshot.alarms
        if view.rule not in raised and view.state in ACTIVE | SOUNDING
    ]
