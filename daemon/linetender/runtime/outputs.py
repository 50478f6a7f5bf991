"""Drives sounders and lamps: each follows its own schedule, none waits for another."""

import logging
from collections import deque
from typing import Protocol

from linetender.annunciation.lamp import LampColour, LampSchedule
from linetender.annunciation.self_test import (
    Schedule,
    SelfTestingSchedule,
    lamp_test,
    sounder_test,
)
from linetender.annunciation.sounder import SounderSchedule
from linetender.core.events import Demand
from linetender.core.fact_names import FactName
from linetender.runtime.bell import Bell
from linetender.runtime.clock import StationClock
from linetender.runtime.inbox import Inbox
from linetender.runtime.keep_alive import KeepAliveSchedule, WatchLampSchedule
from linetender.runtime.progress import Progress
from linetender.runtime.single_wait import SingleWait
from linetender.runtime.supervisor import FIRST_BACKOFF_S, LONGEST_BACKOFF_S
from linetender_drivers.contracts import OutputDevice

_LOG = logging.getLogger(__name__)

_TURN_NS = 1_000_000_000

RISES_KEPT = 100
"""Instants at which a pin went on that are kept (chosen: over ten bursts)."""


def schedule_for(role: str, progress: Progress, started_ns: int, burst: int = 0) -> Schedule:
    """Return the schedule of an output's role in the station file.

    Args:
        role: `buzzer`, `lamp_red`, …
        progress: What a sign of life depends on.
        started_ns: Watch time now.
        burst: The core's count of bursts that were owed before now.
    """
    match role:
        case "lamp_red":
            return _lamp(LampColour.RED)
        case "lamp_yellow":
            return _lamp(LampColour.YELLOW)
        case "lamp_green":
            return WatchLampSchedule(progress, started_ns)
        case "keep_alive":
            return KeepAliveSchedule(progress, started_ns)
    return SelfTestingSchedule(SounderSchedule(burst), sounder_test())


def _lamp(colour: LampColour) -> SelfTestingSchedule:
    return SelfTestingSchedule(LampSchedule(colour), lamp_test(colour))


class Named(Protocol):
    """What an output is called, and what it is for."""

    @property
    def name(self) -> str:
        """Its name in the file."""

    @property
    def output(self) -> str | None:
        """Its role."""


class Output:
    """One output and the task that drives it.

    Args:
        device: Its entry in the station file.
        opened: The device, open and off.
        inbox: Told when it fails, and when it is back.
        clock: Watch time.
        progress: Promised each turn; not while the output cannot be driven.
        demand: What the core demands now.
        schedule: What decides about its edges; None: what its role asks for.

    Attributes:
        rises_ns: When the pin went on, the last ones, oldest first (Watch time).
    """

    def __init__(
        self,
        device: Named,
        opened: OutputDevice,
        inbox: Inbox,
        clock: StationClock,
        progress: Progress,
        demand: Demand,
        schedule: Schedule | None = None,
    ) -> None:
        self._device = device
        self._opened = opened
        self._inbox = inbox
        self._clock = clock
        self._progress = progress
        now_ns = clock.now_ns()
        self._schedule = schedule or schedule_for(
            device.output or "", progress, now_ns, demand.burst
        )
        self.rises_ns: deque[int] = deque(maxlen=RISES_KEPT)
        self._changed = SingleWait()
        self._bell = Bell(clock, self._changed)
        self._wanted = False
        self._level = False
        self._is_open = True
        self._backoff_s = FIRST_BACKOFF_S
        # After a restart an alarm sounds from here on, though a sensor may take its time.
        self._schedule.demand(demand, now_ns)
        self._drive(now_ns)

    @property
    def role(self) -> str:
        """Its role in the station file."""
        return self._device.output or ""

    @property
    def works(self) -> bool:
        """Whether it can be driven, as far as is known."""
        return self._is_open

    def demand(self, demand: Demand) -> None:
        """Take a demand and drive the pin at once, without waiting for the task."""
        now_ns = self._clock.now_ns()
        self._schedule.demand(demand, now_ns)
        self._drive(now_ns)
        self._changed.set()

    def begin_test(self) -> bool:
        """Play every pattern once; say whether it was begun: an output at work is not tested."""
        now_ns = self._clock.now_ns()
        schedule = self._schedule
        if not isinstance(schedule, SelfTestingSchedule) or not schedule.begin_test(now_ns):
            return False
        self._drive(now_ns)
        self._changed.set()
        return True

    def end_test(self) -> None:
        """Break off a self-test: from here on every sound is an alarm."""
        now_ns = self._clock.now_ns()
        if isinstance(self._schedule, SelfTestingSchedule):
            self._schedule.end_test(now_ns)
            self._drive(now_ns)

    async def keep(self) -> None:
        """Drive the output's edges for ever; leave it in its safe state."""
        try:
            while True:
                now_ns = self._clock.now_ns()
                self._drive(now_ns)
                turn_ns = now_ns + _TURN_NS
                if not self._is_open:
                    await self._reopen()
                    continue
                self._progress.promise(self._device.name, turn_ns)
                edge = self._schedule.next_edge()
                await self._wait(min(edge.due_ns, turn_ns) if edge else turn_ns)
        finally:
            self._bell.stop()
            await self._opened.close()

    def _drive(self, now_ns: int) -> None:
        while (edge := self._schedule.next_edge()) is not None and edge.due_ns <= now_ns:
            self._wanted = self._schedule.take(now_ns)
        if self._wanted is self._level or not self._is_open:
            return
        try:
            self._opened.write(self._wanted)
        except Exception as error:  # noqa: BLE001 - supervises the output: others sound on
            _LOG.error("%s: %s", self._device.name, error)
            self._is_open = False
            self._inbox.fact(FactName.DEVICE_FAILED, True, self._device.name, str(error))
        else:
            self._level = self._wanted
            self._backoff_s = FIRST_BACKOFF_S
            if self._level:
                self.rises_ns.append(self._clock.now_ns())

    async def _wait(self, until_ns: int) -> None:
        self._bell.move(until_ns)
        await self._changed.wait()
        self._changed.clear()

    async def _reopen(self) -> None:
        await self._opened.close()
        await self._clock.sleep(self._backoff_s)
        self._backoff_s = min(2 * self._backoff_s, LONGEST_BACKOFF_S)
        try:
            await self._opened.open()
            self._opened.write(self._wanted)
        except Exception as error:  # noqa: BLE001 - as above
            _LOG.debug("%s: %s", self._device.name, error)
            return
        self._is_open, self._level = True, self._wanted
        self._backoff_s = FIRST_BACKOFF_S
        self._inbox.fact(FactName.DEVICE_FAILED, False, self._device.name)
