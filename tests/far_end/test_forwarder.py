"""A second box forwards to a station, in virtual time: what goes, when nothing goes, and late."""

import asyncio
import json
from collections.abc import Awaitable, Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from linetender.annunciation.acceptance import Refusal
from linetender.annunciation.payloads import Alive, encode
from linetender.core.events import Sound
from linetender.core.inputs import Contact, ContactState, Reading
from linetender.core.signals import Signal
from linetender.core.stages import Stage
from linetender.far_end.forwarder import EXPIRY_S, Forwarder, newest, wanted_by_forwarder
from linetender.runtime.forwards import Forwards
from linetender.runtime.incoming import Incoming, Received
from linetender.settings.forward_file import load_forwarding
from linetender.settings.forwarded_spec import FORWARDED, SPEC, ForwardedOptions
from linetender.settings.station import Device
from linetender_drivers.errors import DriverError
from linetender_drivers.measurements import Measurement
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.plx_peer import PeerState, SimulatedPlxPeer
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

RUN = "0a1b2c3d"
ALIVE = "linetender/shed/alive"
FILE = """schema = 1
kind = "forward"
[forward]
box = "bench"
station = "shed"
[broker]
host = "127.0.0.1"
[devices.finger]
driver = "plx_oximeter"
signals = ["spo2_percent", "pulse_rate_bpm"]
options = { address = "simulated" }
"""
WORN = (Measurement("pulse_rate_bpm", 72.0), Measurement("spo2_percent", 97.0))


class TwoEnds:
    """A box with a simulated oximeter, a station that hears it, and what lies between.

    Attributes:
        beats: Whether the station's heartbeat comes.
        delay_s: How long a packet is on its way.
        got: What the station's sensor gave, or why not, with the second in which it did.
        sent: Topic, QoS and expiry of each packet, and its contents.
        said: What the box told people.
    """

    def __init__(self, folder: Path) -> None:
        path = folder / "bench.toml"
        path.write_text(FILE)
        self.clock = VirtualClock()
        machine = SimulatedMachine(self.clock)
        self.peer = machine.peers["simulated"] = SimulatedPlxPeer(self.clock)
        self.teller = SimpleNamespace(run=RUN, beat=0)
        options = ForwardedOptions.model_validate({"from": "bench"})
        signals = (Signal.SPO2_PERCENT, Signal.PULSE_RATE_BPM)
        teller: Any = self.teller
        self.forwards = Forwards(
            "shed", (Device("finger", FORWARDED, SPEC, options, signals),), teller
        )
        self.beats = True
        self.delay_s = 0.0
        self.got: list[tuple[int, tuple[Measurement, ...] | str]] = []
        self.sent: list[tuple[str, int, int | None, dict[str, Any]]] = []
        self.said: list[str] = []
        self.incoming = Incoming()
        self._forwarder = Forwarder(
            load_forwarding(path),
            machine,
            self.clock,
            self._publish,
            self.incoming,
            self.said.append,
        )

    async def play(self, act: Callable[["TwoEnds"], Awaitable[None]]) -> None:
        works = (self._forwarder.run(), self._beat(), self._read())
        tasks = [asyncio.ensure_future(each) for each in works]
        await act(self)
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)

    def _publish(
        self,
        topic: str,
        payload: bytes,
        *,
        qos: int = 0,
        retain: bool = False,
        expiry_s: int | None = None,
    ) -> None:
        assert not retain
        self.sent.append((topic, qos, expiry_s, json.loads(payload)))
        received = Received(topic, payload, False)
        asyncio.get_running_loop().call_later(self.delay_s, self.forwards.take, received)

    async def _beat(self) -> None:
        while True:
            self.teller.beat += 1
            if self.beats:
                alive = Alive(RUN, self.teller.beat, Stage.WORN, 0, Sound.SILENT)
                self.incoming.put(Received(ALIVE, encode(alive), False))
            await self.clock.sleep(1.0)

    async def _read(self) -> None:
        sensor = self.forwards.sensor("finger")
        assert sensor is not None
        while True:
            try:
                made: tuple[Measurement, ...] | str = await sensor.read()
            except DriverError as error:
                made = error.reason.value
            self.got.append((self.clock.now_ns() // 1_000_000_000, made))


def played(folder: Path, act: Callable[[TwoEnds], Awaitable[None]]) -> TwoEnds:
    async def scene() -> TwoEnds:
        ends = TwoEnds(folder)
        await ends.play(act)
        return ends

    return run_virtual(scene())


def test_readings_arrive_once_a_second(tmp_path: Path) -> None:
    async def act(ends: TwoEnds) -> None:
        await ends.clock.sleep(6.2)

    ends = played(tmp_path, act)
    assert ends.got == [(second, WORN) for second in (2, 3, 4, 5, 6)]
    topic, qos, expiry_s, packet = ends.sent[-1]
    assert (topic, qos, expiry_s) == ("linetender/shed/forward/bench", 0, EXPIRY_S)
    assert [each[3]["count"] for each in ends.sent] == [1, 2, 3, 4, 5]
    assert (packet["run"], packet["heard"]) == (RUN, 6)
    assert ends.said == ["The station shed is heard; readings go to it."]


def test_a_reason_goes_as_a_reason_and_doubt_as_doubt(tmp_path: Path) -> None:
    async def act(ends: TwoEnds) -> None:
        ends.peer.measurement_status |= 0x0040  # early estimate
        await ends.clock.sleep(2.2)
        ends.peer.state = PeerState.FINGER_OUT
        await ends.clock.sleep(1.0)

    ends = played(tmp_path, act)
    (_, doubtful), (_, out) = ends.got
    assert isinstance(doubtful, tuple)
    assert [(one.value, one.doubt is None) for one in doubtful] == [(72.0, False), (97.0, False)]
    assert out == (
        Measurement("pulse_rate_bpm", reason="finger_out"),
        Measurement("spo2_percent", reason="finger_out"),
    )


def test_nothing_is_sent_or_kept_while_the_station_is_not_heard(tmp_path: Path) -> None:
    async def act(ends: TwoEnds) -> None:
        await ends.clock.sleep(3.2)
        ends.beats = False
        await ends.clock.sleep(20.0)
        ends.beats = True
        await ends.clock.sleep(3.0)

    ends = played(tmp_path, act)
    assert ends.said == [
        "The station shed is heard; readings go to it.",
        "The station shed is NOT heard; nothing is forwarded.",
        "The station shed is heard; readings go to it.",
    ]
    kinds = [(second, made if made != WORN else "worn") for second, made in ends.got]
    assert kinds == [
        *[(second, "worn") for second in (2, 3, 4, 5, 6, 7, 8)],
        (13, "timeout"),
        (18, "timeout"),
        (23, "timeout"),
        *[(second, "worn") for second in (25, 26)],
    ]
    assert [each[3]["count"] for each in ends.sent] == list(range(1, 10))


def test_a_packet_that_took_too_long_is_a_bad_reading(tmp_path: Path) -> None:
    async def act(ends: TwoEnds) -> None:
        ends.delay_s = 7.5
        await ends.clock.sleep(9.9)

    ends = played(tmp_path, act)
    late = tuple(Measurement(one.signal, reason="late") for one in WORN)
    assert ends.got == [(5, "timeout"), (9, late)]
    assert ends.forwards.refusals.counts == {Refusal.STALE: 1}


def test_an_oximeter_that_is_lost_is_a_reason_and_no_number(tmp_path: Path) -> None:
    async def act(ends: TwoEnds) -> None:
        await ends.clock.sleep(3.2)
        ends.peer.state = PeerState.OUT_OF_RANGE
        await ends.clock.sleep(4.0)
        ends.peer.state = PeerState.WORN
        await ends.clock.sleep(8.0)

    ends = played(tmp_path, act)
    gone = tuple(Measurement(one.signal, reason="not_found") for one in WORN)
    made = [made for _, made in ends.got]
    assert made[:2] == [WORN, WORN]
    assert gone in made[2:5]
    assert made[-1] == WORN
    without = [each for each in made if each != WORN]
    assert all(not isinstance(each, str) for each in made)
    assert {one.value for each in without if not isinstance(each, str) for one in each} == {None}


def test_a_heartbeat_that_was_kept_or_is_garbled_is_none(tmp_path: Path) -> None:
    async def act(ends: TwoEnds) -> None:
        ends.beats = False
        alive = encode(Alive(RUN, 1, Stage.WORN, 0, Sound.SILENT))
        ends.incoming.put(Received(ALIVE, alive, True))
        ends.incoming.put(Received(ALIVE, b"{", False))
        ends.incoming.put(Received("linetender/other/alive", alive, False))
        await ends.clock.sleep(4.0)

    ends = played(tmp_path, act)
    assert ends.sent == []


def test_the_last_of_each_signal_goes() -> None:
    block = [
        Reading(1, Signal.SPO2_PERCENT, 97.0),
        Contact(2, "answer", ContactState.CLOSED),
        Reading(3, Signal.SPO2_PERCENT, reason="finger_out"),
        Reading(4, Signal.HOOD_CO2_PPM, 812.4321),
    ]
    found = [(one.signal, one.value, one.reason) for one in newest(block)]
    assert found == [("hood_co2_ppm", 812.0, None), ("spo2_percent", None, "finger_out")]


def test_it_listens_to_its_station_only() -> None:
    assert [each.filter for each in wanted_by_forwarder("shed")] == [ALIVE]
