"""A station as a process of its own, while everything befalls the radio around it.

The Bluetooth library is real, on a real D-Bus with an emulated service; air and pins are
simulated in that process. Lateness and times to recover are printed; only what the rules
promise is asserted, with room for a busy machine.
"""

import asyncio
import json
import os
import signal
import sys
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from bluez.peripheral import CONTINUOUS, oximeter
from bluez.radio_faults import FAULTS
from bluez.room import Room, needs_dbus, play, until
from bluez.worn_oximeter import frame
from linetender.settings.shipped import shipped

pytestmark = needs_dbus

TESTS = Path(__file__).resolve().parents[1]
PROGRAM = TESTS / "bluez" / "station_process.py"
STALE_S, ON_DELAY_S, COAST_S = 1.0, 2.0, 3.0
ROOM_S = 2.0
"""For a busy machine."""
STUCK_S = 6.0
"""After which a stop may not hang on a radio."""


def station_at(folder: Path, address: str) -> Path:
    """Write the demo's station with a real oximeter whose loss is told after 1 s."""
    text = shipped("config/demo.toml").read_text(encoding="utf-8")
    old = 'options = { address = "simulated" }'
    assert old in text
    path = folder / "station.toml"
    change = (
        "\n[rules.change.spo2_invalid]\n"
        f"stale = {{ after_s = {STALE_S:g} }}\noff_delay_s = 0.5\n"
        'reason = "A test has no time to wait."\n'
    )
    new = f'options = {{ address = "{address}" }}'
    path.write_text(text.replace(old, new) + change, encoding="utf-8")
    return path


class Child:
    """The station's process, as its parent sees it.

    Attributes:
        room: Where the oximeter is.
        is_talking: Whether the oximeter sends.
        state: What the process said last of how it stands.
        raised_s: When each alarm was raised last, on the clock that processes share.
        worst: The oldest air reading (s) and the loop's worst lateness (s) since `forget`.
    """

    def __init__(self, room: Room, process: asyncio.subprocess.Process) -> None:
        self.room = room
        self.process = process
        self.is_talking = True
        self.state: dict[str, Any] = {}
        self.alarms: dict[str, str] = {}
        self.raised_s: dict[str, float] = {}
        self.worst = (0.0, 0.0)

    def forget(self) -> None:
        """Begin to look for the worst anew."""
        self.worst = (0.0, 0.0)

    def is_raised(self, rule: str) -> bool:
        return self.alarms.get(rule) == "unacknowledged"

    def order(self, what: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(f"{what}\n".encode())

    async def until(self, is_so: Callable[[], bool], what: str) -> None:
        await until(lambda: is_so() or self.process.returncode is not None, what)
        assert self.process.returncode is None, "the station has ended"

    async def listen(self) -> None:
        assert self.process.stdout is not None
        async for line in self.process.stdout:
            said = json.loads(line)
            if "rule" in said:
                self.alarms[said["rule"]] = said["after"]
                if said["after"] == "unacknowledged":
                    self.raised_s[said["rule"]] = said["at_s"]
                continue
            self.state = said
            age_s, late_s = self.worst
            self.worst = (max(age_s, said["air_age_s"] or 0.0), max(late_s, said["late_s"]))

    async def talk(self) -> None:
        while True:
            if self.is_talking:
                self.room.bluez.notify(self.room.peripherals[0], CONTINUOUS, frame(50 * 100 + 96))
            await asyncio.sleep(0.05)


@asynccontextmanager
async def station(room: Room, file: Path, patience: str) -> AsyncIterator[Child]:
    """Start the process; at the end it is gone, whatever happened."""
    process = await asyncio.create_subprocess_exec(
        sys.executable,
        str(PROGRAM),
        str(file),
        patience,
        stdin=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.PIPE,
        env=os.environ | {"PYTHONPATH": str(TESTS)},
    )
    child = Child(room, process)
    asides = [asyncio.ensure_future(each) for each in (child.listen(), child.talk())]
    try:
        yield child
    finally:
        if process.returncode is None:
            process.kill()
        await process.wait()
        for aside in asides:
            aside.cancel()
        await asyncio.gather(*asides, return_exceptions=True)


async def worn(child: Child) -> None:
    """Let the hood be put on once air and oxygen are read."""
    await child.until(lambda: bool(child.state.get("oxygen")), "oxygen is read")
    await child.until(lambda: (child.state["air_percent"] or 0.0) > 95.0, "the fan has come up")
    child.order("start")
    await child.until(lambda: child.state["stage"] == "worn", "the hood counts as worn")


async def go_through(child: Child, fault: str) -> None:
    """Let a fault happen, be told, and be mended; the air is watched as ever."""
    harm, mend = FAULTS[fault]
    child.forget()
    harmed_s = time.monotonic()
    await harm(child)
    await child.until(lambda: child.is_raised("spo2_invalid"), "the lost oximeter is told")
    told_s = child.raised_s["spo2_invalid"] - harmed_s
    mended_s = time.monotonic()
    await mend(child)
    await child.until(lambda: bool(child.state["oxygen"]), "oxygen is read again")
    back_s = time.monotonic() - mended_s
    await child.until(lambda: not child.is_raised("spo2_invalid"), "its alarm has ended")
    age_s, late_s = child.worst
    print(  # noqa: T201
        f"{fault}: told after {told_s:.2f} s, oxygen back {back_s:.2f} s after mending, air "
        f"never older than {age_s * 1000:.0f} ms, loop never later than {late_s * 1000:.1f} ms"
    )
    assert STALE_S / 2 < told_s < STALE_S + ROOM_S
    assert age_s < 0.5
    assert not child.is_raised("air_lost")


async def lose_air(child: Child) -> None:
    """Stop the fan; its loss must be told as if the radio were well."""
    stopped_s = time.monotonic()
    child.order("fan_stop")
    await child.until(lambda: child.is_raised("air_lost"), "the lost air is told")
    took_s = child.raised_s["air_lost"] - stopped_s
    print(f"lost air told {took_s:.2f} s after the fan stopped")  # noqa: T201
    assert ON_DELAY_S <= took_s < ON_DELAY_S + COAST_S + ROOM_S


async def end(child: Child) -> float:
    """Tell it to end; return how long that took (s)."""
    told_s = time.monotonic()
    child.process.send_signal(signal.SIGTERM)
    async with asyncio.timeout(STUCK_S + ROOM_S):
        await child.process.wait()
    took_s = time.monotonic() - told_s
    print(f"ended {took_s:.2f} s after SIGTERM")  # noqa: T201
    assert child.process.returncode == 0
    return took_s


def test_a_lost_oximeter_and_a_restarted_service(tmp_path: Path) -> None:
    async def scene(room: Room) -> None:
        finger = room.peripherals[0]
        async with station(room, station_at(tmp_path, finger.address), "hurried") as child:
            await worn(child)
            await go_through(child, "oximeter lost in mid-use")
            await go_through(child, "Bluetooth service restarted")
            await end(child)
            assert not finger.is_connected

    play(scene, oximeter())


def test_a_pulled_adapter_and_a_frozen_service_while_the_air_is_lost(tmp_path: Path) -> None:
    async def scene(room: Room) -> None:
        finger = room.peripherals[0]
        async with station(room, station_at(tmp_path, finger.address), "hurried") as child:
            await worn(child)
            await go_through(child, "adapter pulled")
            await go_through(child, "Bluetooth service frozen")
            harm, _ = FAULTS["Bluetooth service frozen"]
            await harm(child)
            await lose_air(child)
            assert await end(child) < STUCK_S, "a stop hangs on a frozen radio"

    play(scene, oximeter())


SLOW_S = 2.5
"""How long the real Bluetooth service takes to end a link: 2.2 to 2.7 s (BlueZ 5.66)."""


def test_a_stop_waits_until_the_link_has_ended(tmp_path: Path) -> None:
    async def scene(room: Room) -> None:
        finger = room.peripherals[0]

        def slow(call: str) -> None:
            if call == "Disconnect":
                room.bluez.freeze()
                asyncio.get_running_loop().call_later(SLOW_S, room.bluez.thaw)

        async with station(room, station_at(tmp_path, finger.address), "patient") as child:
            await child.until(lambda: bool(child.state.get("oxygen")), "oxygen is read")
            assert finger.is_connected
            room.bluez.on_call = slow
            assert SLOW_S <= await end(child) < STUCK_S
            assert not finger.is_connected, "the link is left to the next start"

    play(scene, oximeter())
