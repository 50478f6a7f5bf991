"""A station as a daemon: real loop, clock and Bluetooth library; simulated air and pins.

`station_process.py FILE hurried|patient`. It prints a line of JSON for each transition of an
alarm, and ten times a second how it stands. From standard input it takes `start` (the hood
is put on) and `fan_stop`. SIGTERM ends it. Times are of the monotonic clock, which all
processes share.
"""

import asyncio
import json
import signal
import sys
import time
from pathlib import Path
from typing import Any

from bleak.backends.bluezdbus.version import BlueZFeatures

from bluez.room import HURRIED, PATIENT
from linetender.core.events import AlarmChanged, Event
from linetender.core.inputs import By, Verb
from linetender.core.signals import Signal
from linetender.core.snapshot import Snapshot
from linetender.runtime import supervisor
from linetender.runtime.clock import MonotonicClock, read_wall_clock
from linetender.runtime.live_station import LiveStation, Surroundings
from linetender.settings.load import load_station
from linetender.simulation.devices import Rig
from linetender.simulation.world import World
from linetender_drivers.buses.ble import BleRadio
from linetender_drivers.contracts import NotificationLink
from linetender_drivers.oximeter import plx
from linetender_drivers.simulated.machine import SimulatedMachine

FAN_UP_NS = 20_000_000_000
TURN_S = 0.1
LOOK_S = 0.005

# A test has no time to wait as long as a wearer has.
plx.SILENCE_S = 0.3
supervisor.LONGEST_BACKOFF_S = 0.25
# Else bleak runs `bluetoothctl --version`, which is not what is tested here.
BlueZFeatures.checked_bluez_version = True


class EarlierClock(MonotonicClock):
    """A clock that has run for 20 s when it is made, so that the fan has come up."""

    def __init__(self) -> None:
        super().__init__()
        self._origin_ns -= FAN_UP_NS


class HalfRealMachine(SimulatedMachine):
    """A simulated machine with a real radio."""

    def __init__(self, clock: MonotonicClock, radio: BleRadio) -> None:
        super().__init__(clock)
        self._radio = radio

    def notifications(  # type: ignore[override]
        self, peer: str, service: str, characteristic: str
    ) -> NotificationLink:
        """Return a real link."""
        return self._radio.link(peer, service, characteristic)


class Daemon:
    """The station and what it tells its parent."""

    def __init__(self, file: Path, radio: BleRadio) -> None:
        self.clock = EarlierClock()
        self.rig = Rig(World(1), HalfRealMachine(self.clock, radio))
        self.rig.world.fan_start(0)
        around = Surroundings(
            self.rig.machine, self.clock, read_wall_clock, "test", listeners=(self._listen,)
        )
        self.live = LiveStation(load_station(file), around)
        self._late_s = 0.0

    async def run(self) -> None:
        """Run until SIGTERM."""
        loop = asyncio.get_running_loop()
        loop.add_signal_handler(signal.SIGTERM, self.live.stop)
        loop.add_reader(sys.stdin, self._obey)
        asides = [asyncio.ensure_future(each) for each in (self._tell(), self._look())]
        await self.live.run()
        for aside in asides:
            aside.cancel()
        loop.remove_reader(sys.stdin)

    def _obey(self) -> None:
        order = sys.stdin.readline().strip()
        if order == "fan_stop":
            self.rig.world.fan_stop(self.clock.now_ns())
        elif order == "start":
            self.rig.world.hood_on(self.clock.now_ns())
            self.live.command(Verb.START, By.WEARER)

    def _listen(self, events: tuple[Event, ...], _snapshot: Snapshot) -> None:
        for event in events:
            if isinstance(event, AlarmChanged):
                _say(rule=event.rule, after=event.after.value)

    async def _tell(self) -> None:
        while True:
            snapshot = self.live.watch.snapshot()
            views = {view.signal: view for view in snapshot.signals}
            air, oxygen = views.get(Signal.HOOD_PRESSURE_PA), views.get(Signal.SPO2_PERCENT)
            percent = views.get(Signal.AIR_PERCENT_OF_BASELINE)
            now_ns = self.clock.now_ns()
            _say(
                stage=snapshot.stage.value,
                oxygen=oxygen is not None and oxygen.value is not None,
                air_percent=None if percent is None else percent.value,
                air_age_s=None
                if air is None or air.age_ns is None
                else (now_ns - snapshot.now_ns + air.age_ns) / 1e9,
                late_s=self._late_s,
            )
            self._late_s = 0.0
            await asyncio.sleep(TURN_S)

    async def _look(self) -> None:
        """Note how much later than asked the loop wakes."""
        while True:
            due_s = time.monotonic() + LOOK_S
            await asyncio.sleep(LOOK_S)
            self._late_s = max(self._late_s, time.monotonic() - due_s)


def _say(**what: Any) -> None:
    sys.stdout.write(json.dumps({"at_s": time.monotonic()} | what) + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    limits = {"hurried": HURRIED, "patient": PATIENT}[sys.argv[2]]
    asyncio.run(Daemon(Path(sys.argv[1]), BleRadio(limits)).run())
