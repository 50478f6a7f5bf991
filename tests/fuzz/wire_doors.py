"""What comes over wires: the broker's messages at station and second box, the local socket."""

import asyncio
import json
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

from fuzz.door import Door, no_false_numbers, no_false_readings
from linetender.annunciation.topics import Topics
from linetender.core.events import Demand, Event
from linetender.core.inputs import By, Command, Input, Verb
from linetender.core.snapshot import Snapshot
from linetender.core.watch import Watch
from linetender.far_end.sounder import Fittings, SounderBox
from linetender.runtime.control_messages import LONGEST_LINE, Ask
from linetender.runtime.control_socket import ControlSocket
from linetender.runtime.forwards import Forwards
from linetender.runtime.hearing import Hearing
from linetender.runtime.inbox import Inbox
from linetender.runtime.incoming import Incoming, Received
from linetender.runtime.remote_commands import NOT_AUTHORISED, CommandGuard
from linetender.runtime.telling import Teller
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped
from linetender.settings.sounder_file import Sounder, load_sounder
from linetender.settings.station import Station
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.virtual_time import VirtualClock

S = 1_000_000_000
RUN, BEAT = "0a1b2c3d", 6

STATION = """
[broker]
host = "192.0.2.10"
tls = true
user = "shed"
password_file = "shed.password"
commands = true
discovery_prefix = "home"
[[far_end]]
name = "bench"
role = "wearer"
[[far_end]]
name = "kitchen"
role = "attendant"
[devices.finger]
driver = "forwarded"
from = "bench"
signals = ["spo2_percent", "pulse_rate_bpm", "oximeter_battery_percent"]
"""


class WornClock(VirtualClock):
    """A clock that stands 20 s after the start."""

    def now_ns(self) -> int:
        return 20 * S


@cache
def _station() -> Station:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "shed.toml"
        minimal = shipped("config/wearer_side_minimal.toml").read_text(encoding="utf-8")
        path.write_text(minimal + STATION, encoding="utf-8")
        return load_station(path)


def _worn() -> Watch:
    """Return the core of a station whose air has just stopped, 20 s after the start."""
    watch = Watch(_station().plan, 0)
    for second in range(1, 20):
        watch.advance(second * S)
    watch.feed(Command(20 * S, Verb.START, By.WEARER))
    return watch


class Ear:
    """A station after its 6th heartbeat that hears its broker."""

    def __init__(self) -> None:
        self.said: list[tuple[str, bytes]] = []
        self.watch = _worn()
        station, clock = _station(), WornClock()
        self.inbox = Inbox(clock)
        self.teller = Teller(station.plan, RUN, self._publish)
        for second in range(BEAT):
            self.teller.alive(second * S, self.watch.snapshot())
        self.forwards = Forwards(station.plan.station, station.devices, self.teller)
        self.hearing = Hearing(station, self.teller, self.inbox, self.forwards, clock)
        guard = CommandGuard(station.plan.station)
        self.hearing.take_commands(guard, self.watch.refusal)
        guard.answered(Topics(station.plan.station).forbidden_command, NOT_AUTHORISED)

    def _publish(self, topic: str, payload: bytes, **_: Any) -> None:
        self.said.append((topic, payload))


TOPICS = (
    "command/ann", "far/bench/confirm", "far/bench/press", "far/kitchen/press", "forward/bench",
    "selftest", "far/porch/press", "command/_self", "command/", "far/bench/confirm/more",
)  # fmt: skip
"""Below the station's own; the first byte chooses one, or more besides."""


def _topic(choice: int, payload: bytes) -> tuple[str, bytes]:
    if choice < 2 * len(TOPICS):
        return f"linetender/{_station().plan.station}/{TOPICS[choice % len(TOPICS)]}", payload
    topic, _, rest = payload.partition(b"\n")
    return topic.decode(errors="replace"), rest


def _by_broker(data: bytes) -> None:
    """The first byte says on which topic, and whether it was kept; further lines follow."""
    ear = Ear()
    for message in data.split(b"\0")[:8]:
        if message:
            _hear(ear, message)


def _hear(ear: Ear, message: bytes) -> None:
    topic, payload = _topic(message[0] & 0x7F, message[1:])
    is_kept = message[0] >= 128
    ear.hearing._take(Received(topic, payload, is_kept), ear.watch.snapshot)
    inputs: list[Input] = list(ear.inbox.take())
    no_false_readings(inputs)
    assert not (is_kept and inputs), (topic, inputs)
    for one in inputs:
        if isinstance(one, Command):
            allowed = By.REMOTE if "/command/" in topic else By.WEARER
            assert one.by is allowed, (topic, one)
            assert "kitchen" not in topic, one
        ear.watch.feed(one)
    sensor = ear.forwards.sensor("finger")
    assert sensor is not None
    while sensor._waiting.qsize():
        made = sensor._waiting.get_nowait()
        no_false_numbers(made)
        ear.inbox.measurements("finger", made)
        for one in ear.inbox.take():
            ear.watch.feed(one)
    assert ear.watch.snapshot().stage.value == "worn", "a message took the watching away"
    for topic, payload in ear.said:
        assert topic.isprintable()
        json.loads(payload or b"null")
    ear.said.clear()


def _order(**fields: Any) -> bytes:
    whole = {"run": RUN, "heard": BEAT, "from": "b0b0", "count": 1, "shown": 3, **fields}
    return json.dumps(whole).encode()


BROKER_SEEDS = tuple(
    bytes([TOPICS.index(topic)]) + payload
    for topic, payload in (
        *(("command/ann", _order(verb=verb.value)) for verb in Verb),
        ("far/bench/confirm", _order(sounding="high")),
        ("far/bench/press", _order(gesture="hold")),
        ("far/kitchen/press", _order(gesture="tap")),
        ("forward/bench", _order(readings=[{"signal": "spo2_percent", "value": 97.0}])),
        ("forward/bench", _order(readings=[{"signal": "pulse_rate_bpm", "reason": "late"}])),
    )
)

FORGED_SEEDS = tuple(
    bytes([100]) + f"linetender/shed/{below}\n".encode() + _order(verb="end", gesture="tap")
    for below in ("command/+", "far/#/press", "forward/+")
)
"""On topics that no message may have."""

JSON_WORDS = (
    b'"run":"0a1b2c3d"', b'"heard":6', b'"from":"', b'"count":', b'"shown":', b'"verb":"',
    b'"gesture":"hold"', b'"readings":[', b'"signal":"', b'"value":', b'"reason":"', b"1e308",
    b"9223372036854775808", b"-1", b'"\\ud800"', b"\\u001b[2J", b'"sounding":"', b'"alarms":[',
    b'"seq":', b'"stage":"worn"', b'"far":"high"', b"null", b"[[[[", b"\0",
)  # fmt: skip


@cache
def _sounder() -> Sounder:
    return load_sounder(shipped("config/second_boxes/bench.toml"))


class BoxAtHand:
    """A second box that notes what it would say, and where."""

    def __init__(self) -> None:
        self.said: list[Demand] = []
        self.sent: list[bytes] = []
        sounder = _sounder()
        machine = SimulatedMachine(VirtualClock())
        links = {one.id: self._publish for one in sounder.stations}
        fittings = Fittings(machine, WornClock(), Incoming(), links, say=self.said.append)
        self.box = SounderBox(sounder, fittings)

    def _publish(self, topic: str, payload: bytes, **_: Any) -> bool:
        self.sent.append(payload)
        return True


def _at_the_box(data: bytes) -> None:
    """The first byte: heartbeat or state, kept or not."""
    at_hand = BoxAtHand()
    for message in data.split(b"\0")[:8]:
        if not message:
            continue
        topic = f"linetender/shed/{'alive' if message[0] & 1 else 'state'}"
        before = len(at_hand.said)
        at_hand.box._take(Received(topic, message[1:], message[0] >= 128))
        at_hand.box._settle()
        for demand in at_hand.said[before:]:
            assert demand.say == "" or demand.say.isprintable(), demand
            assert len(demand.say) < 1000, demand
    for payload in at_hand.sent:
        json.loads(payload)
        assert len(payload) <= 1024, "the station would not read it"


ALIVE = {"run": RUN, "seq": 3, "stage": "worn", "shown": 4, "far": "high", "v": 1}
ALARM = {"rule": "a", "n": 4, "state": "unacknowledged", "priority": "high", "text": "Leave."}
STATE = {
    "run": RUN, "seq": 3, "at": "2020-01-01T00:00:00+00:00", "synchronised": False,
    "stage": "worn", "far": "high",
    "signals": {"spo2_percent": {"value": 97, "reason": None, "quality": "good", "age_s": 1.0}},
    "alarms": [ALARM],
}  # fmt: skip
BOX_SEEDS = tuple(
    kind + json.dumps(message).encode()
    for kind, message in (
        (b"\x01", ALIVE),
        (b"\x02", STATE),
        (b"\x01", {**ALIVE, "run": "x" * 1500}),
        (b"\x02", {**STATE, "alarms": [{**ALARM, "text": "Leave.\x1b[2J\n"}]}),
    )
)


class Asked:
    """A station whose core is the real one."""

    def __init__(self) -> None:
        self._watch = _worn()

    def snapshot(self) -> Snapshot:
        return self._watch.snapshot()

    def ask(self, verb: Verb, by: By, **how: Any) -> str | None:
        command = Command(20 * S, verb, by, **how)
        why = self._watch.refusal(command)
        if why is None:
            self._watch.feed(command)
        return why

    def test_alarm(self) -> str | None:
        return "something sounds"


class Socket:
    """A served local socket on a loop that is kept."""

    def __init__(self) -> None:
        self._folder = tempfile.TemporaryDirectory()
        self.loop = asyncio.new_event_loop()
        self.control = ControlSocket(Path(self._folder.name), "bench", _spoken)
        self.control.pace_s = 0.0
        self._serving = self.control.serving(Asked())
        self.loop.run_until_complete(self._serving.__aenter__())

    def talk(self, data: bytes) -> bytes:
        """Say bytes as a new client, hang up, and return what was answered."""
        self.control._controlled = Asked()
        return self.loop.run_until_complete(asyncio.wait_for(self._talk(data), 10.0))

    async def _talk(self, data: bytes) -> bytes:
        reader, writer = await asyncio.open_unix_connection(self.control.path)
        try:
            writer.write(data)
            await writer.drain()
            writer.write_eof()
            return await reader.read()
        finally:
            writer.close()


def _spoken(event: Event) -> str | None:
    return f"said {event.due_ns}"


@cache
def _socket() -> Socket:
    return Socket()


def _by_socket(data: bytes) -> None:
    """Every line is answered by a line that can be read, until one is no request."""
    try:
        answered = _socket().talk(data)
    except ConnectionError:  # it hung up in the middle of a line that was too long
        assert max(len(line) for line in data.split(b"\n")) >= LONGEST_LINE
        return
    for line in answered.splitlines():
        answer = json.loads(line)
        assert answer["ok"] is ("error" not in answer), answer


SOCKET_SEEDS = tuple(
    json.dumps(
        {"id": 1, "verb": ask.value, "args": {"wearer": True, "shown": 3, "reason": "a test"}}
    ).encode()
    + b"\n"
    for ask in Ask
)

WIRE_DOORS = (
    Door(
        "broker's messages at the station", _by_broker, (*BROKER_SEEDS, *FORGED_SEEDS), JSON_WORDS
    ),
    Door("broker's messages at the second box", _at_the_box, BOX_SEEDS, JSON_WORDS),
    Door("local socket", _by_socket, SOCKET_SEEDS, (b'"id":', b'"verb":"', b'"args":{', b"\n")),
)
