"""One fault of the virtual level, injected into the live station in virtual time."""

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from faults.fault_table import Fault, Stage
from faults.injectors import INJECTORS, Around
from faults.switchable_disk import PromptRecorder, SwitchableDisk
from linetender.core.alarm_table import AlarmState
from linetender.core.carryover import Carryover
from linetender.core.events import AlarmChanged, DemandChanged, Event, Sound
from linetender.core.inputs import Verb
from linetender.core.instants import from_seconds, to_seconds
from linetender.core.snapshot import Snapshot
from linetender.core.stages import Priority
from linetender.recording.lines import as_recorded
from linetender.recording.replay import replay_file
from linetender.runtime.live_station import LiveStation, Surroundings
from linetender.runtime.self_checks import Checked
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped
from linetender.settings.station import Station
from linetender.simulation.devices import FULL_SPEED_RPM, TACHOMETER_GPIO, Rig
from linetender.simulation.knobs import Knob
from linetender.simulation.line import LineFigures
from linetender.simulation.scenario import LINES
from linetender.simulation.world import World
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.tachometer import turn
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

SETTLED_S = {Stage.IDLE: 70.0, Stage.PRE_USE: 90.0, Stage.WORN: 50.0}
"""When a fault is injected: the air watch is armed, baselines are set, a check is under way."""

PRE_USE_S, WORN_S = 50.0, 10.0
OWN_STATIONS = Path(__file__).with_name("stations")
TACHOMETER = "gpio_tachometer"
LOOK_S = 0.5
"""How often the run looks whether it may end."""
AFTER_S = 2.0
"""How much longer it listens once the alarm is over."""

_RANK = {Sound.LOW: 1, Sound.MEDIUM: 2, Sound.HIGH: 3}
_PRIORITY_RANK = {Priority.LOW: 1, Priority.MEDIUM: 2, Priority.HIGH: 3}
_OVER = frozenset(
    {
        AlarmState.NORMAL,
        AlarmState.RETURNED,
        AlarmState.LATCHED,
        AlarmState.LATCHED_ACKNOWLEDGED,
    }
)


@cache
def station_named(name: str) -> Station:
    """Return one of the campaign's own stations, or of the scenarios'."""
    own = OWN_STATIONS / f"{name}.toml"
    shared = shipped("config/scenarios/stations") / f"{name}.toml"
    return load_station(own if own.exists() else shared)


@dataclass
class Outcome:
    """What came of a fault.

    Attributes:
        told: Rules that began to sound, in order, each with the seconds since the injection.
        delay_s: From the injection to the Demand for the expected rule, or None.
        recovery_s: From the mending to the end of its condition, or None.
        cleared_early: Whether its condition was called over while the fault was there.
        before: Rules that sounded before the injection.
        far_s, called_s: From the injection until the second boxes were to sound, and
            contacts to be called; or None.
        again_s: From the injection until it sounded again after an answer, or None.
        lost: Events that no recording holds, though its disk took all it was given.
        differing: What a replay of the recording says otherwise.
    """

    told: list[tuple[str, Priority, float]] = field(default_factory=list)
    delay_s: float | None = None
    recovery_s: float | None = None
    cleared_early: bool = False
    before: list[str] = field(default_factory=list)
    far_s: float | None = None
    called_s: float | None = None
    again_s: float | None = None
    lost: int = 0
    differing: int = 0

    def complaints(self, fault: Fault) -> list[str]:
        """Return what is not as the table says, for people."""
        case, found = fault.case, []
        if self.before:
            found.append(f"sounded before the fault: {', '.join(self.before)}")
        if case.expect != "none":
            found += self._late(fault)
        found += self._untold(fault)
        if self.lost or self.differing:
            found.append(f"{self.lost} events not recorded, {self.differing} replayed otherwise")
        allowed = {case.expect, *case.also}
        for rule, _, at_s in self.told:
            is_forbidden = rule in case.forbids or ("*" in case.forbids and rule not in allowed)
            if is_forbidden:
                found.append(f"{rule} sounded after {at_s:.1f} s")
        return found

    def _untold(self, fault: Fault) -> list[str]:
        case, found = fault.case, []
        for who, limit_s, at_s in (
            ("the second boxes", case.far_within_s, self.far_s),
            ("the contacts", case.calls_within_s, self.called_s),
            ("those who had heard it", case.again_within_s, self.again_s),
        ):
            if limit_s is not None and (at_s is None or at_s > limit_s):
                came = "never" if at_s is None else f"after {at_s:.1f} s"
                found.append(f"{who} were to be told within {limit_s:g} s and were {came}")
        return found

    def _late(self, fault: Fault) -> list[str]:
        case = fault.case
        if self.delay_s is None or self.delay_s > fault.within_s:
            delay = "never" if self.delay_s is None else f"after {self.delay_s:.1f} s"
            return [f"{case.expect} was expected within {fault.within_s:g} s and came {delay}"]
        if self.cleared_early:
            return [f"{case.expect} was called over while the fault was there"]
        if case.recovers_within_s is None:
            return []
        if self.recovery_s is None or self.recovery_s > case.recovers_within_s:
            recovery = "never" if self.recovery_s is None else f"after {self.recovery_s:.1f} s"
            return [f"it was to be over within {case.recovers_within_s:g} s and was {recovery}"]
        return []


async def _turn_tachometer(on: Around) -> None:
    pins, clock, world = on.rig.machine.simulated_pins, on.rig.machine.clock, on.rig.world
    await turn(
        pins,
        clock,
        TACHOMETER_GPIO,
        lambda at_ns: on.tachometer(FULL_SPEED_RPM * world.fan_speed(at_ns)),
    )


def run_fault(fault: Fault) -> Outcome:
    """Inject a fault, mend it, and say what came of it."""
    return run_virtual(_Run(fault).live())


class _Run:
    def __init__(self, fault: Fault) -> None:
        self._fault, self._case = fault, fault.case
        self._outcome = Outcome()
        self._injected_ns: int | None = None
        self._mended_ns: int | None = None
        self._raised = False
        self._sound = 0
        self._blind_s: float | None = None
        self._heard: list[Event] = []
        self._was_quiet = False

    async def live(self) -> Outcome:
        clock = VirtualClock()
        machine = SimulatedMachine(clock)
        name = self._case.station or self._case.arrangement.value
        station = station_named(name)
        rig = Rig(World(1, LINES.get(name, LineFigures())), machine)
        surroundings = self._surroundings(machine, lambda: on)
        disks, recording = [SwitchableDisk()], self._recording
        live = LiveStation(station, recording(surroundings, disks[0]))
        on = Around(rig, live, disks[0], cut_power=self._cut)
        hands = asyncio.create_task(self._act(on))
        hands.add_done_callback(lambda _: on.live.stop())
        if any(device.driver == TACHOMETER for device in station.devices):
            turning = asyncio.create_task(_turn_tachometer(on))
            hands.add_done_callback(lambda _: turning.cancel())
        while True:
            await on.live.run()
            if hands.done():
                break
            assert self._blind_s is not None
            await clock.sleep(self._blind_s)
            left = on.live.watch.carryover().after_restart(from_seconds(self._blind_s))
            carryover: Carryover = as_recorded(left)
            on.disk = SwitchableDisk()
            disks.append(on.disk)
            on.live = LiveStation(station, recording(surroundings, on.disk), carryover)
        await hands
        if not any(each.was_full for each in disks):
            self._outcome.lost = len(self._heard) - sum(self._recorded(each) for each in disks)
        return self._outcome

    def _surroundings(self, machine: SimulatedMachine, on: Callable[[], Around]) -> Surroundings:
        return Surroundings(
            machine,
            machine.clock,
            lambda: on().wall,
            "test",
            broker_connected=lambda: on().broker_connected,
            checked=Checked(
                refusal=lambda: on().broker_refuses, forbidden=lambda: on().topics_forbidden
            ),
            minds_time_of_day=True,
            listeners=(self._listen,),
        )

    @staticmethod
    def _recording(surroundings: Surroundings, disk: SwitchableDisk) -> Surroundings:
        return replace(surroundings, recorder=PromptRecorder(disk))

    def _recorded(self, disk: SwitchableDisk) -> int:
        """Read a recording back and replay it; return how many events it holds."""
        with TemporaryDirectory() as folder:
            path = Path(folder) / "s.jsonl"
            path.write_bytes(disk.synced)
            outcome = replay_file(path)
        self._outcome.differing += outcome.differing
        return outcome.events

    def _cut(self, on: Around, blind_s: float) -> None:
        self._blind_s = blind_s
        on.live.stop()

    async def _act(self, on: Around) -> None:
        clock, row, case = on.rig.machine.clock, self._fault.row, self._case
        on.turn(Knob.FAN, 1.0)
        on.turn(Knob.FINGER_OUT, 1.0)
        on.hang(on_hook=True)
        if case.stage is Stage.PRE_USE:
            await clock.sleep(PRE_USE_S)
            on.turn(Knob.FINGER_OUT, 0.0)
            on.command(Verb.PRE_USE)
        elif case.stage is Stage.WORN:
            await clock.sleep(WORN_S)
            on.turn(Knob.FINGER_OUT, 0.0)
            on.turn(Knob.HOOD, 1.0)
            on.hang(on_hook=False)
            on.command(Verb.START)
        at_s = SETTLED_S[case.stage] if case.at_s is None else case.at_s
        await clock.sleep(at_s - to_seconds(clock.now_ns()))
        assert on.live.snapshot().stage.value == case.stage.value
        injector = INJECTORS[row.inject]
        self._injected_ns = clock.now_ns()
        injector.begin(on)
        await clock.sleep(row.lasts_s or self._fault.within_s)
        self._mended_ns = clock.now_ns()
        if row.lasts_s:
            injector.end(on)
        left_s = case.recovers_within_s or 0.0
        while left_s > 0 and self._outcome.recovery_s is None:
            await clock.sleep(LOOK_S)
            left_s -= LOOK_S
        await clock.sleep(AFTER_S)

    def _listen(self, events: tuple[Event, ...], _: Snapshot) -> None:
        self._heard += events
        for event in events:
            if isinstance(event, DemandChanged):
                self._sound = _RANK.get(event.demand.sound, 0)
                self._note_demand(event)
            elif isinstance(event, AlarmChanged):
                self._note(event)
        case, outcome = self._case, self._outcome
        if self._raised and outcome.delay_s is None and case.priority is not None:
            if self._sound >= _RANK[Sound(case.priority.value)]:
                assert self._injected_ns is not None
                outcome.delay_s = to_seconds(events[-1].due_ns - self._injected_ns)

    def _note_demand(self, event: DemandChanged) -> None:
        if self._injected_ns is None:
            return
        since_s, outcome = to_seconds(event.due_ns - self._injected_ns), self._outcome
        self._was_quiet |= outcome.delay_s is not None and event.demand.sound is Sound.SILENT
        if self._was_quiet and event.demand.sound is Sound.HIGH and outcome.again_s is None:
            outcome.again_s = since_s
        if outcome.far_s is None and event.demand.far is not Sound.SILENT:
            outcome.far_s = since_s
        if outcome.called_s is None and event.demand.tell:
            outcome.called_s = since_s

    def _note(self, event: AlarmChanged) -> None:
        outcome, case = self._outcome, self._case
        starts = event.after is AlarmState.UNACKNOWLEDGED
        if self._injected_ns is None:
            if starts:
                outcome.before.append(event.rule)
            return
        since_s = to_seconds(event.due_ns - self._injected_ns)
        if starts:
            outcome.told.append((event.rule, event.priority, since_s))
        if event.rule != case.expect or case.priority is None:
            return
        if starts and _PRIORITY_RANK[event.priority] >= _PRIORITY_RANK[Priority(case.priority)]:
            self._raised = True
        elif event.after in _OVER and self._raised and outcome.recovery_s is None:
            if self._mended_ns is None:
                outcome.cleared_early = True
            else:
                outcome.recovery_s = to_seconds(event.due_ns - self._mended_ns)
