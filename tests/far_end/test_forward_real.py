"""The whole path of a forwarded reading, all of it real but the radio and the oximeter.

`linetender forward` runs as a process of its own: the Bluetooth library on a D-Bus with an
emulated service, the shipped broker sample with its access list, and a station's end.
"""

import asyncio
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from bluez.peripheral import CONTINUOUS, oximeter
from bluez.room import Room, needs_dbus, play, until
from bluez.worn_oximeter import frame
from linetender.annunciation.acceptance import Refusal
from linetender.annunciation.payloads import Alive, encode
from linetender.annunciation.topics import Topics
from linetender.core.events import Sound
from linetender.core.signals import Signal
from linetender.core.stages import Stage
from linetender.runtime.broker_link import BrokerLink
from linetender.runtime.clock import MonotonicClock
from linetender.runtime.far_ends import wanted_by_station
from linetender.runtime.forwards import Forwards
from linetender.runtime.incoming import Incoming, Reception
from linetender.settings.forwarded_spec import FORWARDED, SPEC, ForwardedOptions
from linetender.settings.station import Device
from linetender.settings.station_file import BrokerSettings
from linetender_drivers.measurements import Measurement
from mosquitto_broker import PASSWORD, MosquittoBroker

pytestmark = [pytest.mark.broker, needs_dbus]

SAMPLES = Path(__file__).resolve().parents[2] / "config" / "broker"
RUN = "0a1b2c3d"
WORN = (Measurement("pulse_rate_bpm", 70.0), Measurement("spo2_percent", 97.0))
FORWARD = "from linetender.cli.main import main; main()"


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[MosquittoBroker]:
    """The shipped sample, but for its paths and port."""
    lines = (SAMPLES / "mosquitto.conf").read_text(encoding="utf-8").splitlines(keepends=True)
    text = "".join(line for line in lines if not line.startswith("listener "))
    (tmp_path / "linetender.acl").write_bytes((SAMPLES / "acl").read_bytes())
    text = text.replace("/etc/mosquitto", str(tmp_path))
    text = text.replace("/var/lib/mosquitto/", f"{tmp_path}/")
    made = MosquittoBroker(tmp_path, text, users=("shed", "bench", "phone"))
    made.start()
    yield made
    made.stop()


def box_file(folder: Path, port: int, address: str) -> Path:
    """Write the box's file and its password."""
    (folder / "password").write_text(PASSWORD)
    path = folder / "bench.toml"
    path.write_text(
        'schema = 1\nkind = "forward"\n[forward]\nbox = "bench"\nstation = "shed"\n'
        f'[broker]\nhost = "127.0.0.1"\nport = {port}\nuser = "bench"\n'
        'password_file = "password"\n[devices.finger]\ndriver = "plx_oximeter"\n'
        f'signals = ["spo2_percent", "pulse_rate_bpm"]\noptions = {{ address = "{address}" }}\n'
    )
    return path


def started(path: Path) -> "subprocess.Popen[str]":
    """Start the box."""
    return subprocess.Popen(
        [sys.executable, "-c", FORWARD, "forward", str(path)],
        env=os.environ | {"XDG_RUNTIME_DIR": str(path.parent)},
        stdout=subprocess.PIPE,
        text=True,
    )


class StationEnd:
    """As much of a station as hears readings.

    Attributes:
        got: What its sensor read.
    """

    def __init__(self, folder: Path, port: int) -> None:
        options = ForwardedOptions.model_validate({"from": "bench"})
        signals = (Signal.SPO2_PERCENT, Signal.PULSE_RATE_BPM)
        self._teller: Any = SimpleNamespace(run=RUN, beat=0)
        devices = (Device("finger", FORWARDED, SPEC, options, signals),)
        self.forwards = Forwards("shed", devices, self._teller)
        self.got: list[tuple[Measurement, ...]] = []
        self._topics = Topics("shed")
        self._incoming = Incoming()
        reception = Reception(wanted_by_station(self._topics), self._incoming.put)
        settings = BrokerSettings(
            host="127.0.0.1", port=port, user="shed", password_file="password"
        )
        self.link = BrokerLink(
            settings, "shed", MonotonicClock(), folder=folder, reception=reception
        )

    async def run(self) -> None:
        async with asyncio.TaskGroup() as group:
            for work in (self._beat(), self._hear(), self._read()):
                group.create_task(work)

    async def _beat(self) -> None:
        while True:
            self._teller.beat += 1
            alive = Alive(RUN, self._teller.beat, Stage.WORN, 0, Sound.SILENT)
            self.link.publish(self._topics.alive, encode(alive))
            await asyncio.sleep(0.25)

    async def _hear(self) -> None:
        async for received in self._incoming.each():
            self.forwards.take(received)

    async def _read(self) -> None:
        sensor = self.forwards.sensor("finger")
        assert sensor is not None
        while True:
            self.got.append(await sensor.read())


def test_from_the_oximeter_of_a_second_box_to_the_station(
    broker: MosquittoBroker, tmp_path: Path
) -> None:
    async def scene(room: Room) -> None:
        finger = room.peripherals[0]
        path = box_file(tmp_path, broker.port, finger.address)
        box = started(path)
        station = StationEnd(tmp_path, broker.port)
        station.link.start()

        async def talk() -> None:
            while True:
                room.bluez.notify(finger, CONTINUOUS, frame(50 * 100 + 96))
                await asyncio.sleep(0.1)

        asides = [asyncio.ensure_future(each) for each in (station.run(), talk())]
        try:
            await until(lambda: WORN in station.got, "a reading has come all the way")
            await refuse_all_but_the_box(broker, station)
            box.terminate()
            told, _ = await asyncio.to_thread(box.communicate, None, 15)
        finally:
            box.kill()
            for aside in asides:
                aside.cancel()
            await asyncio.gather(*asides, return_exceptions=True)
            await asyncio.to_thread(station.link.stop, 1.0)
        assert box.returncode == 0
        assert told.splitlines() == [
            "Forwarding spo2_percent, pulse_rate_bpm from bench to shed. Nothing is watched here.",
            "The station shed is heard; readings go to it.",
            "Stopped.",
        ]
        assert not finger.is_connected

    play(scene, oximeter())


async def refuse_all_but_the_box(broker: MosquittoBroker, station: StationEnd) -> None:
    """Nobody writes in the box's name, and what the broker keeps is told from what is sent."""
    topic = "linetender/shed/forward/bench"
    packet = f'{{"run":"{RUN}","heard":1,"from":"x","count":1,"readings":[]}}'

    def publish(user: str, *, retain: bool = False) -> str:
        return broker.publish(topic, packet, retain=retain, login=(user, PASSWORD))

    assert "Not authorized" in await asyncio.to_thread(publish, "phone")
    counts = station.forwards.refusals.counts
    assert counts == {}
    await asyncio.to_thread(publish, "bench", retain=True)
    await until(lambda: counts[Refusal.RETAINED] == 1, "a kept packet is refused")
