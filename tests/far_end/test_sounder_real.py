"""Second boxes against real brokers and real stations that die, freeze or are cut off."""

import asyncio
import itertools
import os
import signal
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from far_end.stalling_proxy import StallingProxy
from installed_command import COMMAND, environment
from linetender.core.stages import Stage
from linetender.far_end.sounder import Fittings, SounderBox, wanted_by_box
from linetender.runtime.broker_link import BrokerLink
from linetender.runtime.clock import MonotonicClock
from linetender.runtime.incoming import Incoming, Reception
from linetender.settings.shipped import shipped
from linetender.settings.sounder_file import load_sounder
from linetender_drivers.simulated.machine import SimulatedMachine
from mosquitto_broker import PATIENCE_S, MosquittoBroker, Witness

pytestmark = pytest.mark.broker

BUZZER = 22
SPEED = 5
"""Of the simulated stations: worn after 2 s; their fan stops after 14 s."""

BOX = """
schema = 1
kind = "sounder"
box = {{ name = "bench" }}
broker = {{ host = "127.0.0.1", port = {port} }}
stations = [{{ id = "{station}", role = "wearer" }}]
[devices.buzzer]
driver = "gpio_buzzer"
output = "buzzer"
options = {{ chip = "simulated", gpio = 22 }}
[devices.answer]
driver = "gpio_button"
contact = "answer"
options = {{ chip = "simulated", no_gpio = 17 }}
"""


class Stations:
    """Real stations, each a process of its own on simulated devices."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._running: dict[str, subprocess.Popen[bytes]] = {}

    def start(self, name: str, port: int, speed: float = SPEED) -> None:
        text = shipped("config/demo.toml").read_text(encoding="utf-8")
        text = text.replace('id = "demo"', f'id = "{name}"')
        file = self._folder / f"{name}.toml"
        file.write_text(f"{text}\n[broker]\nhost = '127.0.0.1'\nport = {port}\n")
        self._running[name] = subprocess.Popen(
            [COMMAND, "run", file, "--simulate", "demo", "--speed", str(speed)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env=environment(XDG_RUNTIME_DIR=str(self._folder)),
        )

    def signal(self, name: str, number: signal.Signals) -> None:
        self._running[name].send_signal(number)

    def close(self) -> None:
        for process in self._running.values():
            process.kill()
            process.wait(PATIENCE_S)


@pytest.fixture
def stations(tmp_path: Path) -> Iterator[Stations]:
    made = Stations(tmp_path)
    yield made
    made.close()


@pytest.fixture
def other_broker(tmp_path: Path) -> Iterator[MosquittoBroker]:
    made = MosquittoBroker(tmp_path)
    yield made
    made.stop()


class LiveBox:
    """A box beside a wearer, on simulated pins and a real link."""

    def __init__(self, folder: Path, station: str, port: int) -> None:
        file = folder / f"box-{station}.toml"
        file.write_text(BOX.format(port=port, station=station))
        sounder = load_sounder(file)
        self.clock = MonotonicClock()
        self._machine = SimulatedMachine(self.clock)
        incoming = Incoming()
        reception = Reception(wanted_by_box(station), incoming.put)
        self._link = BrokerLink(
            sounder.broker, station, self.clock, box="bench", reception=reception
        )
        links = {station: self._link.publish}
        self.box = SounderBox(sounder, Fittings(self._machine, self.clock, incoming, links))
        self.station = station

    def start(self) -> None:
        self._link.start()
        self._task = asyncio.ensure_future(self.box.run())

    async def stop(self) -> None:
        self.box.stop()
        await self._task
        await asyncio.to_thread(self._link.stop, 0.2)

    def stage(self) -> Stage | None:
        return self.box.stages()[self.station]

    def tones(self) -> list[tuple[float, float]]:
        """Return start and length (s) of each tone so far."""
        edges = [edge for edge in self._machine.simulated_pins.edges if edge.gpio == BUZZER]
        starts = [edge.at_ns / 1e9 for edge in edges if edge.high]
        ends = [edge.at_ns / 1e9 for edge in edges[1:] if not edge.high]
        return list(zip(starts, (end for end in ends), strict=False))


async def until(holds: Callable[[], bool], what: str) -> None:
    for _ in range(int(PATIENCE_S / 0.05)):
        if holds():
            return
        await asyncio.sleep(0.05)
    pytest.fail(f"not in time: {what}")


def test_in_use_every_silence_sounds_in_time_and_in_idle_none_does(
    mosquitto: MosquittoBroker, other_broker: MosquittoBroker, stations: Stations, tmp_path: Path
) -> None:
    mosquitto.start()
    other_broker.start()

    async def scene() -> None:
        proxy = StallingProxy(mosquitto.port)
        await proxy.start()
        ports = {
            "killed": mosquitto.port,
            "frozen": mosquitto.port,
            "brokerless": other_broker.port,
            "cut": proxy.port,
            "idle": mosquitto.port,
        }
        boxes = {name: LiveBox(tmp_path, name, port) for name, port in ports.items()}
        for box in boxes.values():
            box.start()
        for name in ports:
            own = mosquitto.port if name == "cut" else ports[name]
            stations.start(name, own, 0.5 if name == "idle" else SPEED)
        in_use = [box for name, box in boxes.items() if name != "idle"]
        await until(lambda: all(one.stage() is Stage.WORN for one in in_use), "worn")
        await until(lambda: boxes["idle"].stage() is Stage.IDLE, "idle")
        assert [name for name, box in boxes.items() if box.tones()] == []
        faults_s = {name: box.clock.now_ns() / 1e9 for name, box in boxes.items()}
        stations.signal("killed", signal.SIGKILL)
        stations.signal("idle", signal.SIGKILL)
        stations.signal("frozen", signal.SIGSTOP)
        proxy.stall()
        other_broker.kill()
        await asyncio.sleep(13)
        for box in boxes.values():
            await box.stop()
        await proxy.stop()
        for name, box in boxes.items():
            judge(name, [(at - faults_s[name], end - at) for at, end in box.tones()])

    asyncio.run(scene())


def judge(name: str, tones: list[tuple[float, float]]) -> None:
    """LOOK 4 s and LEAVE 10 s after the last heartbeat, up to a second before the fault."""
    if name == "idle":
        assert tones == []
        return
    told = f"{name}: {tones}"
    assert 3.0 <= tones[0][0] <= 5.0, told
    leave = [at for at, _ in tones if at >= 8.9]
    assert leave, told
    assert leave[0] <= 11.0, told
    gaps = [later - at for at, later in itertools.pairwise(leave)]
    assert all(gap < 1.5 for gap in gaps), told  # it goes on without a pause
    assert all(length > 0.8 for _, length in tones[:-1]), told


def test_the_verb_confirms_answers_and_ends_in_good_order(
    mosquitto: MosquittoBroker, witness: Witness, stations: Stations, tmp_path: Path
) -> None:
    file = tmp_path / "laptop.toml"
    text = BOX.format(port=mosquitto.port, station="shed")
    file.write_text(text[: text.index("[devices.buzzer]")])
    stations.start("shed", mosquitto.port, 12)
    box = subprocess.Popen(
        [COMMAND, "remote-sounder", file, "--terminal", "--state", tmp_path / "state"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=environment(XDG_RUNTIME_DIR=str(tmp_path)),
    )
    try:
        top = "linetender/shed/far/bench"
        witness.wait_for(f"{top}/online", "online")
        witness.wait_for(f"{top}/confirm", '"sounding":"silent"')
        witness.wait_for("linetender/shed/alarm/air_lost", "unacknowledged")
        witness.wait_for(f"{top}/confirm", '"sounding":"high"')
        assert box.stdin is not None
        os.write(box.stdin.fileno(), b" ")
        press = witness.wait_for(f"{top}/press", '"gesture":"tap"')
        assert (press.qos, press.retained) == (1, False)
        box.send_signal(signal.SIGTERM)
        out, err = box.communicate(timeout=PATIENCE_S)
        witness.wait_for(f"{top}/online", "offline")
    finally:
        box.kill()
        box.wait()
    assert (box.returncode, err.decode()) == (0, "")
    lines = out.decode().splitlines()
    assert any(line.startswith("LEAVE  shed: Air lost.") for line in lines)
    assert any(line.startswith("\aLEAVE  shed: Air lost.") for line in lines)
    assert lines[-1] == "Stopped. This box sounds nothing now."
    assert b'"worn"' in (tmp_path / "state" / "stations.json").read_bytes()
