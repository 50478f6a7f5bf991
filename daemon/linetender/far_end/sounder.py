"""A second box, live: its links to the broker, its devices, and the box between them."""

import asyncio
import contextlib
import logging
import secrets
from collections.abc import Callable, Coroutine
from dataclasses import dataclass, field
from itertools import count
from typing import Any

import msgspec

from linetender.annunciation.far_payloads import Confirm, Press, Role
from linetender.annunciation.payloads import Alive, State
from linetender.annunciation.topics import Topics
from linetender.core.events import Demand
from linetender.core.inputs import Contact, ContactState
from linetender.core.instants import SECOND_NS
from linetender.core.stages import Stage
from linetender.far_end.box import Box, Pressed
from linetender.far_end.box_memory import BoxMemory
from linetender.far_end.box_sounder import BoxSounder
from linetender.far_end.heard import NOT_OF_A_STATION, decoded
from linetender.far_end.remote_watch import RemoteWatch
from linetender.runtime.clock import StationClock
from linetender.runtime.far_ends import ANSWER
from linetender.runtime.inbox import Inbox
from linetender.runtime.incoming import Incoming, Received, Wanted
from linetender.runtime.outputs import Named, Output
from linetender.runtime.progress import Progress
from linetender.runtime.service_manager import ServiceManager
from linetender.runtime.supervisor import WIRED, Supervisor
from linetender.runtime.telling import Publish
from linetender.settings.sounder_file import Sounder
from linetender_drivers.contracts import Machine, OutputDevice
from linetender_drivers.errors import DeviceTimeout
from linetender_drivers.registry import Kind

_LOG = logging.getLogger(__name__)

TURN_NS = SECOND_NS // 5
CONFIRM_EVERY_NS = 2 * SECOND_NS
CONFIRM_EXPIRY_S = 5
PRESS_EXPIRY_S = {"tap": 5, "hold": 60}
"""A tap that comes later answers what nobody heard; a call for help may come late."""


def wanted_by_box(station: str) -> tuple[Wanted, ...]:
    """Return what a second box subscribes to at one station."""
    topics = Topics(station)
    return (Wanted(topics.state, 1, kept=True), Wanted(topics.alive, 0))


@dataclass
class Fittings:
    """What a second box runs on.

    Attributes:
        machine: Where devices are opened.
        clock: Its time.
        incoming: What comes from the broker.
        links: By station, the function that publishes.
        memory: Of stages, or None.
        say: Told what is asked for when it changes, before it is sounded; must not wait.
        extra: Further outputs and their roles, such as a terminal's bell.
        keys: Further contacts, such as a keyboard's: runs until cancelled.
        manager: What restarts the box when it does not move on, or None.
    """

    machine: Machine
    clock: StationClock
    incoming: Incoming
    links: dict[str, Publish]
    memory: BoxMemory | None = None
    say: Callable[[Demand], None] = lambda _: None
    extra: tuple[tuple[Named, OutputDevice], ...] = ()
    keys: Callable[[Inbox], Coroutine[Any, Any, None]] | None = None
    manager: ServiceManager | None = None
    sender: str = field(default_factory=lambda: secrets.token_hex(4))


class SounderBox:
    """One run of a second box.

    Args:
        sounder: Its file.
        fittings: What it runs on.
    """

    def __init__(self, sounder: Sounder, fittings: Fittings) -> None:
        self._sounder = sounder
        self._fit = fittings
        now_ns = fittings.clock.now_ns()
        kept = fittings.memory.recall() if fittings.memory else {}
        self._box = Box(
            tuple(
                RemoteWatch(one.id, Role(one.role), now_ns, kept.get(one.id))
                for one in sounder.stations
            )
        )
        self._inbox = Inbox(fittings.clock)
        self._progress = Progress()
        self._outputs: list[Output] = []
        self._demand = Demand()
        self._counts = count(1)
        self._confirmed: dict[str, tuple[int, Confirm]] = {}
        self._stopping = asyncio.Event()

    def stages(self) -> dict[str, Stage | None]:
        """Return each station's last known stage, by its id; None where none is known."""
        return {name: watch.stage for name, watch in self._box.watches.items()}

    def _standing(self) -> str:
        stages = (f"{name} {stage or 'not heard'}" for name, stage in self.stages().items())
        return ", ".join(stages)

    def stop(self) -> None:
        """End the run; outputs are left safe."""
        self._stopping.set()

    async def run(self) -> None:
        """Sound, confirm and answer until `stop` is called.

        Raises:
            DriverError: a device is not what the file says, or cannot be opened.
        """
        works = await self._open_devices()
        works += [self._hear(), self._turn()]
        if self._fit.keys is not None:
            works.append(self._fit.keys(self._inbox))
        try:
            async with asyncio.TaskGroup() as group:
                tasks = [group.create_task(work) for work in works]
                await self._stopping.wait()
                for task in tasks:
                    task.cancel()
        finally:
            if self._fit.manager is not None:
                self._fit.manager.stopping()

    async def _open_devices(self) -> list[Coroutine[Any, Any, None]]:
        fit, works = self._fit, []
        opened: list[Any] = []
        try:
            for named, output in fit.extra:
                works.append(self._output(named, output).keep())
            for device in self._sounder.devices:
                roles = tuple(role for role in (device.contact, device.output) if role)
                make = device.spec.opener()
                made = make(device.name, device.options, fit.machine, roles)
                opened.append(made)
                try:
                    async with asyncio.timeout(WIRED.open_s):
                        await made.open()
                except TimeoutError as error:
                    raise DeviceTimeout(device.name, "does not answer") from error
                if device.spec.kind is Kind.OUTPUT:
                    works.append(self._output(device, made).keep())
                else:
                    keeper = Supervisor(device, self._inbox, fit.clock, self._progress)
                    works.append(keeper.keep_input(made, is_open=True))
        except BaseException:
            for work in works:
                work.close()
            for made in opened:
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(WIRED.close_s):
                        await made.close()
            raise
        return works

    def _output(self, named: Named, opened: OutputDevice) -> Output:
        schedule = BoxSounder() if named.output == "buzzer" else None
        made = Output(
            named, opened, self._inbox, self._fit.clock, self._progress, Demand(), schedule
        )
        self._outputs.append(made)
        return made

    # What comes

    async def _hear(self) -> None:
        async for received in self._fit.incoming.each():
            self._take(received)
            self._settle()

    def _take(self, received: Received) -> None:
        levels = received.topic.split("/")
        watch = self._box.watches.get(levels[1] if len(levels) > 1 else "")
        if watch is None:
            return
        now_ns = self._fit.clock.now_ns()
        try:
            if levels[2:] == ["alive"]:
                alive = decoded(received.payload, Alive)
                watch.hear_alive(now_ns, alive, retained=received.retained)
            elif levels[2:] == ["state"]:
                watch.hear_state(now_ns, decoded(received.payload, State))
        except NOT_OF_A_STATION as error:
            _LOG.debug("%r: %s", received.topic, error)

    async def _turn(self) -> None:
        clock = self._fit.clock
        while True:
            now_ns = clock.now_ns()
            self._progress.promise("box", now_ns + TURN_NS)
            if self._fit.manager is not None:
                self._fit.manager.turn(self._progress.stalled(now_ns), self._standing())
            next_ns = self._box.next_change(now_ns)
            until_ns = now_ns + TURN_NS
            await self._inbox.wait(until_ns if next_ns is None else min(next_ns, until_ns))
            for item in self._inbox.take():
                if isinstance(item, Contact) and item.contact == ANSWER:
                    is_down = item.state is ContactState.CLOSED
                    self._tell(self._box.button(item.arrived_ns, is_down=is_down))
            self._tell(self._box.look(clock.now_ns()))
            self._settle()

    # What follows

    def _settle(self) -> None:
        now_ns = self._fit.clock.now_ns()
        demand = self._box.demand(now_ns)
        if demand != self._demand:
            self._demand = demand
            self._fit.say(demand)
            for output in self._outputs:
                output.demand(demand)
        self._confirm(now_ns)
        if self._fit.memory is not None:
            watches = self._box.watches.items()
            kept = {name: watch.remembered for name, watch in watches}
            self._fit.memory.keep({name: one for name, one in kept.items() if one is not None})

    def _confirm(self, now_ns: int) -> None:
        works = all(output.works for output in self._outputs)
        for name, confirm in self._box.confirms(now_ns, sounder_works=works).items():
            last_ns, last = self._confirmed.get(name, (now_ns - CONFIRM_EVERY_NS, None))
            is_new = last is None or (last.run, last.shown, last.sounding) != (
                confirm.run,
                confirm.shown,
                confirm.sounding,
            )
            if is_new or now_ns - last_ns >= CONFIRM_EVERY_NS:
                self._confirmed[name] = now_ns, confirm
                topic = Topics(name).confirm(self._sounder.name)
                self._publish(name, topic, confirm, CONFIRM_EXPIRY_S)

    def _tell(self, pressed: tuple[Pressed, ...]) -> None:
        now_ns = self._fit.clock.now_ns()
        for one in pressed:
            watch = self._box.watches[one.station]
            press = Press(
                watch.run,
                watch.beat,
                self._fit.sender,
                next(self._counts),
                watch.shown(now_ns),
                one.gesture,
            )
            topic = Topics(one.station).press(self._sounder.name)
            self._publish(one.station, topic, press, PRESS_EXPIRY_S[one.gesture.value])

    def _publish(self, station: str, topic: str, payload: Confirm | Press, life_s: int) -> None:
        self._fit.links[station](topic, msgspec.json.encode(payload), qos=1, expiry_s=life_s)
