"""A live station in real time: whatever the radio does, the watching of the air goes on.

Air sensor, pins and world are simulated; the oximeter is read by the real library over a
real D-Bus. Lateness and times to recover are printed; only what the rules promise is
asserted, with room for a busy machine.
"""

import asyncio
from collections.abc import Awaitable, Callable
from pathlib import Path
from unittest import mock

import pytest

from bluez.peripheral import CONTINUOUS, oximeter
from bluez.room import HURRIED, Room, needs_dbus, play, until
from bluez.worn_oximeter import frame
from linetender.core.alarm_table import AlarmState
from linetender.core.events import AlarmChanged, Event
from linetender.core.inputs import By, Verb
from linetender.core.signals import Signal
from linetender.core.snapshot import Snapshot
from linetender.core.stages import Stage
from linetender.runtime import supervisor
from linetender.runtime.clock import MonotonicClock, demo_wall_clock
from linetender.runtime.live_station import LiveStation, Surroundings
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped
from linetender.settings.station import Station
from linetender.simulation.devices import Rig
from linetender.simulation.world import World
from linetender_drivers.contracts import NotificationLink
from linetender_drivers.oximeter import plx
from linetender_drivers.simulated.machine import SimulatedMachine

pytestmark = needs_dbus

SILENCE_S, STALE_S, ON_DELAY_S, COAST_S = 0.3, 1.0, 2.0, 3.0
ROOM_S = 1.5
"""For a busy machine."""


class EarlierClock(MonotonicClock):
    """A clock that has run for 20 s when it is made, so that the fan has come up."""

    def __init__(self) -> None:
        super().__init__()
        self._origin_ns -= 20_000_000_000


class HalfRealMachine(SimulatedMachine):
    """A simulated machine with a real radio."""

    def __init__(self, clock: MonotonicClock, room: Room) -> None:
        super().__init__(clock)  # type: ignore[arg-type]
        self._room = room

    def notifications(self, peer: str, service: str, characteristic: str) -> NotificationLink:
        """Return a real link."""
        return self._room.notifications(peer, service, characteristic)


def station_at(folder: Path, address: str) -> Station:
    """Return the demo's station with a real oximeter whose loss is told after 1 s."""
    text = shipped("config/demo.toml").read_text(encoding="utf-8")
    text = text.replace(
        'options = { address = "simulated" }', f'options = {{ address = "{address}" }}'
    )
    path = folder / "station.toml"
    change = (
        "\n[rules.change.spo2_invalid]\n"
        f"stale = {{ after_s = {STALE_S:g} }}\noff_delay_s = 0.5\n"
        'reason = "A test has no time to wait."\n'
    )
    path.write_text(text + change, encoding="utf-8")
    return load_station(path)


class LiveRoom:
    """A live station in a room.

    Attributes:
        room: With the oximeter.
        events: What the station said.
        worst_gap_s: The longest time without an air reading since it was last set to 0.
    """

    def __init__(self, room: Room, station: Station) -> None:
        self.room = room
        self.clock = EarlierClock()
        self.events: list[Event] = []
        self.worst_gap_s = 0.0
        self.is_talking = True
        self.rig = Rig(World(1), HalfRealMachine(self.clock, room))
        self.rig.world.fan_start(0)
        around = Surroundings(
            self.rig.machine, self.clock, demo_wall_clock, "test", listeners=(self._listen,)
        )
        self.live = LiveStation(station, around)

    @property
    def now_s(self) -> float:
        return self.clock.now_ns() / 1e9

    @property
    def snapshot(self) -> Snapshot:
        return self.live.watch.snapshot()

    def has_value(self, signal: Signal) -> bool:
        return any(
            each.signal is signal and each.value is not None for each in self.snapshot.signals
        )

    def air_percent(self) -> float | None:
        """Return the air in per cent of its normal."""
        wanted = Signal.AIR_PERCENT_OF_BASELINE
        return next((each.value for each in self.snapshot.signals if each.signal is wanted), None)

    def is_raised(self, rule: str) -> bool:
        return any(
            alarm.rule == rule and alarm.state is AlarmState.UNACKNOWLEDGED
            for alarm in self.snapshot.alarms
        )

    def raised_s(self, rule: str) -> float:
        """Return when a rule was raised last (s)."""
        raised = [
            event.due_ns
            for event in self.events
            if isinstance(event, AlarmChanged)
            and event.rule == rule
            and event.after is AlarmState.UNACKNOWLEDGED
        ]
        return raised[-1] / 1e9

    async def send_for_ever(self) -> None:
        """Let the oximeter send its values, 20 a second."""
        while True:
            if self.is_talking:
                self.room.bluez.notify(self.room.peripherals[0], CONTINUOUS, frame(50 * 100 + 96))
            await asyncio.sleep(0.05)

    async def look_for_ever(self) -> None:
        """Note how old the air's reading gets."""
        while True:
            for each in self.snapshot.signals:
                if each.signal is Signal.HOOD_PRESSURE_PA and each.age_ns is not None:
                    age_ns = self.clock.now_ns() - self.snapshot.now_ns + each.age_ns
                    self.worst_gap_s = max(self.worst_gap_s, age_ns / 1e9)
            await asyncio.sleep(0.01)

    def _listen(self, events: tuple[Event, ...], _snapshot: Snapshot) -> None:
        self.events += events


async def freeze(live: LiveRoom) -> None:
    live.room.bluez.freeze()
    live.is_talking = False


async def thaw(live: LiveRoom) -> None:
    live.room.bluez.thaw()
    live.is_talking = True


async def kill(live: LiveRoom) -> None:
    await live.room.bluez.stop()


async def restart(live: LiveRoom) -> None:
    await live.room.restart_bluez()


async def pull(live: LiveRoom) -> None:
    live.room.bluez.pull_adapter()


async def plug(live: LiveRoom) -> None:
    live.room.bluez.plug_adapter()


async def leave(live: LiveRoom) -> None:
    live.room.peripherals[0].is_advertising = False
    live.room.bluez.drop(live.room.peripherals[0])


async def come_back(live: LiveRoom) -> None:
    live.room.peripherals[0].is_advertising = True


Act = Callable[[LiveRoom], Awaitable[None]]
FAULTS: dict[str, tuple[Act, Act]] = {
    "oximeter lost in mid-use": (leave, come_back),
    "Bluetooth service restarted": (kill, restart),
    "adapter pulled": (pull, plug),
    "Bluetooth service frozen": (freeze, thaw),
}
FAULT_WITH_LOST_AIR = "Bluetooth service frozen"
# Two in a session: an alarm that comes a third time in a minute is held longer.
SESSIONS = (tuple(FAULTS)[:2], tuple(FAULTS)[2:])


async def worn(live: LiveRoom) -> None:
    """Let the hood be put on once air and oxygen are read."""
    await until(lambda: live.has_value(Signal.SPO2_PERCENT), "oxygen is read")
    await until(lambda: (live.air_percent() or 0.0) > 95.0, "the fan has come up")
    live.rig.world.hood_on(live.clock.now_ns())
    live.live.command(Verb.START, By.WEARER)
    await until(lambda: live.snapshot.stage is Stage.WORN, "the hood counts as worn")


async def go_through(live: LiveRoom, fault: str) -> tuple[float, float]:
    """Let a fault happen, be told, and be mended.

    Returns:
        From fault to technical alarm (s), the oldest that the air's reading got (s).
    """
    harm, mend = FAULTS[fault]
    live.worst_gap_s = 0.0
    harmed_s = live.now_s
    await harm(live)
    await until(lambda: live.is_raised("spo2_invalid"), "the lost oximeter is told")
    told_s = live.raised_s("spo2_invalid") - harmed_s
    if fault == FAULT_WITH_LOST_AIR:
        await lose_air(live)
    mended_s = live.now_s
    await mend(live)
    await until(lambda: live.has_value(Signal.SPO2_PERCENT), "oxygen is read again")
    back_s = live.now_s - mended_s
    await until(lambda: not live.is_raised("spo2_invalid"), "its alarm has ended")
    print(  # noqa: T201
        f"{fault}: told after {told_s:.2f} s, oxygen back {back_s:.2f} s after mending, "
        f"air never older than {live.worst_gap_s * 1000:.0f} ms"
    )
    return told_s, live.worst_gap_s


async def lose_air(live: LiveRoom) -> None:
    """Stop the fan; its loss must be told as if the radio were well."""
    assert not live.is_raised("air_lost")
    stopped_s = live.now_s
    live.rig.world.fan_stop(live.clock.now_ns())
    await until(lambda: live.is_raised("air_lost"), "the lost air is told")
    took_s = live.raised_s("air_lost") - stopped_s
    print(f"lost air told {took_s:.2f} s after the fan stopped")  # noqa: T201
    assert ON_DELAY_S <= took_s < ON_DELAY_S + COAST_S + ROOM_S


@pytest.mark.parametrize("faults", SESSIONS)
def test_air_is_watched_through_every_fault_of_the_radio(
    faults: tuple[str, str], tmp_path: Path
) -> None:
    async def scene(room: Room) -> list[tuple[float, float]]:
        live = LiveRoom(room, station_at(tmp_path, room.peripherals[0].address))
        asides = [
            asyncio.ensure_future(each) for each in (live.send_for_ever(), live.look_for_ever())
        ]
        running = asyncio.ensure_future(live.live.run())
        try:
            await worn(live)
            got = [await go_through(live, fault) for fault in faults]
        finally:
            live.live.stop()
            await running
            for aside in asides:
                aside.cancel()
        assert not room.peripherals[0].is_connected
        return got

    quick = mock.patch.object(supervisor, "LONGEST_BACKOFF_S", 0.25)
    with mock.patch.object(plx, "SILENCE_S", SILENCE_S), quick:
        got = play(scene, oximeter(), limits=HURRIED)
    for told_s, gap_s in got:
        assert STALE_S / 2 < told_s < STALE_S + ROOM_S
        assert gap_s < 0.5
