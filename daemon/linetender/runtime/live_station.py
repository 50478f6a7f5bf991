"""The live process: devices in, core, outputs out, in one event loop.

It runs the same `drive` as replay does. What may be slow (disk, broker) has threads
of its own behind bounded queues and is told last; sounders and lamps come first.
"""

import asyncio
import contextlib
import logging
from collections.abc import Callable, Coroutine, Sequence
from dataclasses import dataclass, field
from itertools import count
from typing import Any

from linetender.core.carryover import Carryover
from linetender.core.drive import drive
from linetender.core.events import DemandChanged, Event, Sound, StageChanged
from linetender.core.fact_names import FactName
from linetender.core.inputs import By, Command, Verb
from linetender.core.snapshot import Snapshot
from linetender.core.stages import Stage
from linetender.core.watch import Watch
from linetender.recording.lines import SegmentReason, as_recorded
from linetender.recording.writer import RecordingWriter
from linetender.runtime.carryover_file import StateKeeper
from linetender.runtime.clock import StationClock, WallClock
from linetender.runtime.control_messages import Arguments
from linetender.runtime.forwards import Forwards
from linetender.runtime.frame_tap import tapped
from linetender.runtime.hearing import Hearing
from linetender.runtime.inbox import Inbox
from linetender.runtime.incoming import Incoming
from linetender.runtime.outputs import Output
from linetender.runtime.pre_use_work import Draw, PreUseWork, draw
from linetender.runtime.progress import Progress
from linetender.runtime.proof_messages import ProofView
from linetender.runtime.proof_work import Keeper, Place, ProofWork
from linetender.runtime.remote_commands import CommandGuard
from linetender.runtime.segment_header import header_of
from linetender.runtime.self_checks import Checked, SelfChecks
from linetender.runtime.service_manager import ServiceManager, standing
from linetender.runtime.supervisor import WIRED, Supervisor, bounds_of, is_by_radio
from linetender.runtime.telling import Teller
from linetender.settings.station import Device, Station
from linetender_drivers.contracts import InputDevice, Machine, Sensor
from linetender_drivers.errors import DeviceTimeout, DriverError, FailureReason
from linetender_drivers.registry import Kind

_LOG = logging.getLogger(__name__)

TURN_NS = 1_000_000_000
"""The core's loop turns at least this often, though nothing arrives."""

FACTS_EVERY_TURNS = 10
KEEP_EVERY_TURNS = 60
"""Turns (s) after which facts are repeated, and the state is kept though nothing happened."""

_MAY_BE_AWAY = frozenset({FailureReason.NOT_FOUND, FailureReason.NACK, FailureReason.TIMEOUT})
"""A sensor may be unplugged, or out of radio range, at the start: that is an alarm, no exit."""

Listener = Callable[[tuple[Event, ...], Snapshot], None]


@dataclass(frozen=True)
class Surroundings:
    """What a station runs on, and whom it tells.

    Attributes:
        machine: Where devices are opened.
        clock: Watch time.
        wall: The time of day.
        boot: Hashed boot id, for the recording's header.
        recorder: Where the session is recorded, or None.
        teller: What tells the broker, or None.
        incoming: What comes from the broker, or None.
        guard: Of commands over the broker; None where they are off.
        keeper: What keeps the core's state for the next run, or None.
        broker_connected: Whether the broker has accepted the connection, or None.
        checked: What else the station looks at of itself.
        minds_time_of_day: Whether a wrong time of day is worth a Fact.
        listeners: Called after each change, and once a second with no events.
        manager: What restarts the daemon when it does not move on, or None.
        draw: Draws the delay of the test sound.
        proofs: Keeps what proof tests come to, or None.
    """

    machine: Machine
    clock: StationClock
    wall: WallClock
    boot: str
    recorder: RecordingWriter | None = None
    teller: Teller | None = None
    incoming: Incoming | None = None
    guard: CommandGuard | None = None
    keeper: StateKeeper | None = None
    broker_connected: Callable[[], bool] | None = None
    checked: Checked = field(default_factory=Checked)
    minds_time_of_day: bool = False
    listeners: Sequence[Listener] = ()
    manager: ServiceManager | None = None
    draw: Draw = draw
    proofs: Keeper | None = None


class LiveStation:
    """One run of one station.

    Args:
        station: The loaded station file.
        around: What it runs on.
        carryover: What the run before left, or None.
    """

    def __init__(
        self, station: Station, around: Surroundings, carryover: Carryover | None = None
    ) -> None:
        self._station = station
        self._around = around
        clock = around.clock
        self._inbox = Inbox(clock)
        self._progress = Progress()
        self._stopping = asyncio.Event()
        self._carryover = carryover
        self._watch = Watch(station.plan, clock.now_ns(), carryover)
        self._outputs: list[Output] = []
        self._forwards = Forwards(station.plan.station, station.devices, around.teller)
        wall = around.wall if around.minds_time_of_day else None
        own = around.recorder, around.keeper, around.broker_connected, wall
        self._checks = SelfChecks(around.checked.of_station(*own), self._inbox, clock)
        kept = around.wall, around.recorder, around.proofs
        senses = self._outputs, self.ask, self._inbox.note_proof
        self._proof = ProofWork(Place(station, clock, *kept, *senses))
        pre_use = station.plan.steps, self._inbox, clock, around.wall, around.recorder
        dues = (lambda: self._proof.dates().due), around.checked.filter_due
        self._pre_use = PreUseWork(*pre_use, around.draw, *dues)

    @property
    def watch(self) -> Watch:
        """The core."""
        return self._watch

    def command(self, verb: Verb, by: By, *, shown: int | None = None, source: str = "") -> None:
        """Hand a person's wish to the core; `shown` None means all that sounds now was seen."""
        seen = self._watch.journal.n if shown is None else shown
        self._inbox.command(verb, by, shown=seen, source=source)

    def snapshot(self) -> Snapshot:
        """Return how the station stands."""
        return self._watch.snapshot()

    def ask(self, verb: Verb, by: By, **how: Any) -> str | None:
        """Hand a person's wish (fields of `Command`) to the core; say why not, or None."""
        wish = Command(self._around.clock.now_ns(), verb, by, **how)
        refusal = self._watch.refusal(wish)
        if refusal is None:
            self._inbox.wish(wish)
        return refusal

    def test_alarm(self) -> str | None:
        """Let sounders and lamps play every pattern once; say why not, or None."""
        snapshot = self._watch.snapshot()
        if snapshot.stage is Stage.WORN:
            return "the hood is worn, and the wearer would take it for an alarm"
        if snapshot.demand.sound is not Sound.SILENT:
            return "an alarm or a question sounds already"
        if not any([output.begin_test() for output in self._outputs]):
            return "nothing here can be tested: no sounder or lamp is free"
        self._inbox.note(FactName.ALARM_TESTED)
        return None

    def prove(self, args: Arguments, source: str) -> tuple[str | None, ProofView]:
        """Go on with a proof test; say why not (or None), and how it stands."""
        stage = self._watch.snapshot().stage
        return self._proof.act(args, source, stage), self._proof.view()

    def stop(self) -> None:
        """End the run; outputs are left safe."""
        self._stopping.set()

    async def run(self, hands: Coroutine[Any, Any, None] | None = None) -> None:
        """Watch until `stop` is called or the hands have done their work.

        Args:
            hands: Someone who acts while the station runs: the script of a scenario.

        Raises:
            DriverError: a device is not what the station file says, or an output or
                switch cannot be opened.
        """
        around = self._around
        try:
            works = await self._open_devices()
        except BaseException:
            if hands is not None:
                hands.close()
            self._discard_recording()
            raise
        works += [self._watch_for_ever(), self._tell_for_ever()]
        if around.incoming is not None and around.teller is not None:
            works.append(self._hear_for_ever(around.incoming, around.teller))
        if hands is not None:
            works.append(self._work(hands))
        self._begin_recording()
        if around.teller is not None:
            around.teller.begin(self._watch.snapshot(), around.wall())
        try:
            async with asyncio.TaskGroup() as group:
                tasks = [group.create_task(work) for work in works]
                await self._stopping.wait()
                for task in tasks:
                    task.cancel()
        finally:
            if around.manager is not None:
                around.manager.stopping()
            self._end_recording()
            if around.keeper is not None:
                around.keeper.keep(self._watch.carryover())

    # Devices

    async def _open_devices(self) -> list[Coroutine[Any, Any, None]]:
        """Open every device once; outputs first, so that the rest can be heard."""
        works: list[Coroutine[Any, Any, None]] = []
        opened: list[tuple[Device, Any]] = []
        order = (Kind.OUTPUT, Kind.INPUT, Kind.SENSOR)
        try:
            for device in sorted(self._station.devices, key=lambda d: order.index(d.spec.kind)):
                made = self._make(device)
                opened.append((device, made))
                is_open = await self._open_first(device, made)
                works.append(self._keep(device, made, is_open=is_open))
        except BaseException:
            for work in works:
                work.close()
            for device, made in opened:
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(bounds_of(device).close_s):
                        await made.close()
            raise
        return works

    def _make(self, device: Device) -> Any:
        if (forwarded := self._forwards.sensor(device.name)) is not None:
            return forwarded
        roles = tuple(signal.value for signal in device.signals)
        roles += tuple(role for role in (device.contact, device.output) if role)
        around = self._around
        machine = tapped(around.machine, device.name, around.recorder, around.clock)
        return device.spec.opener()(device.name, device.options, machine, roles)

    async def _open_first(self, device: Device, made: Any) -> bool:
        if is_by_radio(device):
            # Nobody waits for a radio: its supervisor opens it while the air is watched.
            return False
        try:
            async with asyncio.timeout(WIRED.open_s):
                await made.open()
        except DriverError as error:
            failure = error
        except TimeoutError as error:
            failure = DeviceTimeout(device.name, "does not answer")
            failure.__cause__ = error
        else:
            return True
        if device.spec.kind is not Kind.SENSOR or failure.reason not in _MAY_BE_AWAY:
            raise failure
        _LOG.warning("%s; going on without it", failure)
        self._inbox.lost(device.name, device.signals, failure.reason.value)
        return False

    def _keep(self, device: Device, made: Any, *, is_open: bool) -> Coroutine[Any, Any, None]:
        around = self._around
        if device.spec.kind is Kind.OUTPUT:
            demand = self._watch.snapshot().demand
            output = Output(device, made, self._inbox, around.clock, self._progress, demand)
            self._outputs.append(output)
            return output.keep()
        if is_by_radio(device):
            # A radio that hangs is an alarm of its own, and no reason to start the daemon anew.
            progress = Progress()
        else:
            progress = self._progress
        supervisor = Supervisor(
            device, self._inbox, around.clock, progress, bounds=bounds_of(device)
        )
        if device.spec.kind is Kind.INPUT:
            switch: InputDevice = made
            return supervisor.keep_input(switch, is_open=is_open)
        sensor: Sensor = made
        return supervisor.keep_sensor(sensor, is_open=is_open)

    # The core's loop

    async def _watch_for_ever(self) -> None:
        clock, inbox = self._around.clock, self._inbox
        recorder = self._around.recorder
        while True:
            turn_ns = clock.now_ns() + TURN_NS
            self._progress.promise("core", turn_ns)
            deadline_ns = self._watch.next_deadline(turn_ns)
            await inbox.wait(turn_ns if deadline_ns is None else deadline_ns)
            block = inbox.take()
            self._proof.see(block)
            now_ns = clock.now_ns()
            if recorder is not None:
                recorder.inputs(block)
            drive(block, now_ns, self._watch, self._emit)
            if recorder is not None:
                recorder.advance(now_ns)
                self._begin_segment_if_due(recorder)

    def _emit(self, events: tuple[Event, ...]) -> None:
        """Tell what the core said: sounders and lamps first, the slow and far ones last."""
        for event in events:
            if isinstance(event, DemandChanged):
                for output in self._outputs:
                    output.demand(event.demand)
            elif isinstance(event, StageChanged) and event.after is Stage.WORN:
                for output in self._outputs:
                    output.end_test()
        around = self._around
        if around.recorder is not None:
            around.recorder.events(events)
        snapshot = self._watch.snapshot()
        if around.keeper is not None:
            around.keeper.keep(self._watch.carryover(), events, snapshot.now_ns)
        if around.teller is not None:
            around.teller.events(events, snapshot, around.wall())
        self._proof.tell(events)
        for listener in around.listeners:
            listener(events, snapshot)

    async def _tell_for_ever(self) -> None:
        around = self._around
        due_ns = around.clock.now_ns()
        for turn in count(1):
            now_ns = around.clock.now_ns()
            snapshot = self._watch.snapshot()
            if around.teller is not None:
                around.teller.tick(now_ns, snapshot, around.wall())
            for listener in around.listeners:
                listener((), snapshot)
            if around.manager is not None:
                around.manager.turn(self._progress.stalled(now_ns), standing(snapshot))
            self._checks.look()
            self._pre_use.look(snapshot)
            self._proof.look(snapshot)
            if turn % FACTS_EVERY_TURNS == 0:
                self._inbox.repeat_facts()
            if around.keeper is not None and turn % KEEP_EVERY_TURNS == 0:
                around.keeper.keep(self._watch.carryover())
            due_ns += TURN_NS
            self._progress.promise("loop", due_ns)
            await around.clock.sleep_until_ns(due_ns)

    async def _hear_for_ever(self, incoming: Incoming, teller: Teller) -> None:
        """Take what second boxes and users send."""
        around = self._around
        hearing = Hearing(self._station, teller, self._inbox, self._forwards, around.clock)
        if around.guard is not None:
            hearing.take_commands(around.guard, lambda wish: self._watch.refusal(wish))
        await hearing.run(incoming, lambda: self._watch.snapshot(), around.broker_connected)

    async def _work(self, hands: Coroutine[Any, Any, None]) -> None:
        await hands
        self.stop()

    # Recording

    def _begin_recording(self) -> None:
        if self._around.recorder is not None:
            why = SegmentReason.RESTART if self._carryover else SegmentReason.START
            self._begin_segment(self._around.recorder, why, self._carryover)

    def _begin_segment_if_due(self, recorder: RecordingWriter) -> None:
        """Begin a segment after a gap or a long file, with a Watch that replay makes as well."""
        now_ns = self._watch.now_ns
        why = recorder.segment_due(now_ns)
        if why is None:
            return
        carryover = as_recorded(self._watch.carryover())
        self._watch = Watch(self._station.plan, now_ns, carryover)
        self._begin_segment(recorder, why, carryover)

    def _begin_segment(
        self, recorder: RecordingWriter, why: SegmentReason, carryover: Carryover | None
    ) -> None:
        wall, boot, now_ns = self._around.wall(), self._around.boot, self._watch.now_ns
        recorder.segment(header_of(self._station, now_ns, why, carryover, wall, boot))

    def _discard_recording(self) -> None:
        """Leave no empty file behind a start that failed: it may be tried again every 2 s."""
        if self._around.recorder is not None:
            self._around.recorder.close(self._watch.now_ns)
            self._around.recorder.path.unlink(missing_ok=True)

    def _end_recording(self) -> None:
        if self._around.recorder is not None:
            self._around.recorder.close(self._watch.now_ns)
            self._checks.look()  # the end may be what the disk did not take
