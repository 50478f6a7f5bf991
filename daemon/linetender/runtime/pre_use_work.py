"""The runtime's part in the pre-use check: what only it can see, and when the test sound comes.

The core judges; this tells it Facts. The instant of the test sound is drawn here, as the
core draws nothing: it reaches the core as an input like any other, so that a replay is exact.
"""

import shutil
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from secrets import randbelow
from threading import Thread
from typing import Protocol

from linetender.core.events import StepState
from linetender.core.fact_names import FactName
from linetender.core.instants import SECOND_NS
from linetender.core.snapshot import Snapshot, StepView
from linetender.core.step_plan import StepKind, StepPlan
from linetender.runtime.clock import StationClock, WallClock
from linetender.runtime.inbox import Inbox

EARLIEST_S = 15
LATEST_S = 45
"""The test sound comes so long after the hood was asked for (s, chosen): time to put it on
and to start the loudest tool, and no instant that could be guessed."""

LEAST_FREE_MB = 200
"""Room on the disk for a session (MB, chosen: a day of all signals takes about 50)."""

Draw = Callable[[int, int], int]
"""Draws a whole number from one to another, both included."""


def draw(least: int, greatest: int) -> int:
    """Draw a number that nobody can foretell."""
    return least + randbelow(greatest - least + 1)


class Recording(Protocol):
    """The recorder of the session."""

    @property
    def fault(self) -> str | None:
        """Why nothing is recorded, for people; None while it is."""

    @property
    def path(self) -> Path:
        """The file."""


class PreUseWork:
    """Looks once a second, and tells the core what the steps of its check wait for.

    Args:
        steps: Of the station.
        inbox: Where Facts go.
        clock: Watch time.
        wall: The time of day.
        recorder: Of the session, or None.
        proof_due: Until when the proof test is good by now (ISO 8601), or empty.
        filter_due: Likewise of the filter; None: what the step says.
        draws: Draws the seconds until the test sound.
    """

    def __init__(
        self,
        steps: tuple[StepPlan, ...],
        inbox: Inbox,
        clock: StationClock,
        wall: WallClock,
        recorder: Recording | None,
        draws: Draw = draw,
        proof_due: Callable[[], str] = str,
        filter_due: Callable[[], str] | None = None,
    ) -> None:
        self._due = {step.id: step.due for step in steps}
        self._inbox = inbox
        self._clock = clock
        self._wall = wall
        self._recorder = recorder
        self._draws = draws
        self._proof_due = proof_due
        self._filter_due = filter_due
        self._said: dict[str, str] = {}
        self._sound_ns: int | None = None
        self._disk = "the disk does not answer"
        self._asks_disk: Thread | None = None

    def look(self, snapshot: Snapshot) -> None:
        """Do what the check waits for; call it about once a second."""
        waiting = [step for step in snapshot.check.steps if step.state is StepState.WAITING]
        if not waiting:
            self._said.clear()
            self._sound_ns = self._asks_disk = None
            return
        for step in waiting:
            fault = self._fault(step)
            if fault is not None and self._said.get(step.id) != fault:
                self._said[step.id] = fault
                self._inbox.note_step(step.id, fault)
        self._look_for_sound(awaited=snapshot.check.awaits_sound)

    def _look_for_sound(self, *, awaited: bool) -> None:
        now_ns = self._clock.now_ns()
        if not awaited:
            self._sound_ns = None
        elif self._sound_ns is None:
            self._sound_ns = now_ns + self._draws(EARLIEST_S, LATEST_S) * SECOND_NS
        elif now_ns >= self._sound_ns:
            self._sound_ns = None
            self._inbox.note(FactName.HEARD_TEST)

    def _fault(self, step: StepView) -> str | None:
        """Return why a step is not met, empty if it is, None if the core sees for itself."""
        match step.kind:
            case StepKind.RECORDING:
                if self._recorder is None:
                    return "this run records nothing"
                return self._recorder.fault or ""
            case StepKind.DISK:
                return self._disk_fault()
            case StepKind.PROOF:
                return self._expired(self._proof_due() or self._due.get(step.id, ""))
            case StepKind.FILTER if self._filter_due is not None:
                # A new filter may have been fitted since the run began, and have no date yet.
                due = self._filter_due()
                return self._expired(due) if due else ""
            case StepKind.CALIBRATION | StepKind.FILTER:
                return self._expired(self._due.get(step.id, ""))
        return None

    def _expired(self, due: str) -> str:
        try:
            until = datetime.fromisoformat(due)
            now = datetime.fromisoformat(self._wall().at)
        except ValueError:
            return f"its date cannot be read: {due!r}"
        if until.tzinfo is None:
            until = until.replace(tzinfo=now.tzinfo)
        return "" if now < until else f"it was good until {due[:10]}"

    def _disk_fault(self) -> str:
        if self._recorder is None:
            return "this run records nothing"
        if self._asks_disk is None:
            # A card that stalls must not hold up the loop: a thread of its own asks.
            folder = self._recorder.path.parent
            self._asks_disk = Thread(target=self._ask_disk, args=(folder,), daemon=True)
            self._asks_disk.start()
            self._asks_disk.join(0.05)
        return self._disk

    def _ask_disk(self, folder: Path) -> None:
        try:
            free_mb = shutil.disk_usage(folder).free / 1e6
        except OSError as error:
            self._disk = f"{folder}: {error.strerror}"
            return
        enough = free_mb >= LEAST_FREE_MB
        self._disk = "" if enough else f"{free_mb:.0f} MB free, {LEAST_FREE_MB} expected"
