"""The demo's station and a second box beside its wearer, both live, in one virtual time."""

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from linetender.core.events import AlarmChanged, Event
from linetender.core.inputs import By, Verb
from linetender.core.snapshot import Snapshot
from linetender.far_end.sounder import Fittings, SounderBox
from linetender.recording.replay import replay_file
from linetender.recording.writer import RecordingWriter
from linetender.runtime.clock import demo_wall_clock
from linetender.runtime.incoming import Incoming, Received
from linetender.runtime.live_station import LiveStation, Surroundings
from linetender.runtime.self_checks import Checked
from linetender.runtime.telling import Teller
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped
from linetender.settings.sounder_file import load_sounder
from linetender.simulation.devices import Rig
from linetender.simulation.world import World
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

S = 1_000_000_000
BUZZER, BUTTON = 22, 17

BOX = """
schema = 1
kind = "sounder"
box = { name = "bench" }
broker = { host = "127.0.0.1" }
stations = [{ id = "demo", role = "wearer" }]
[devices.buzzer]
driver = "gpio_buzzer"
output = "buzzer"
options = { chip = "simulated", gpio = 22 }
[devices.answer]
driver = "gpio_button"
contact = "answer"
options = { chip = "simulated", no_gpio = 17 }
"""


@dataclass
class Wire:
    """Stands in for the broker between two ends.

    Attributes:
        to: Who is given what is published.
        whole: Whether anything gets through.
        said: Topics and payloads, in order.
        own: Given what the sender says to itself.
    """

    to: Incoming
    whole: bool = True
    said: list[tuple[str, bytes]] = field(default_factory=list)
    own: Incoming | None = None

    def __call__(
        self,
        topic: str,
        payload: bytes,
        *,
        qos: int = 0,
        retain: bool = False,
        expiry_s: int | None = None,
    ) -> None:
        self.said.append((topic, payload))
        if not self.whole:
            return
        self.to.put(Received(topic, payload, retain))
        if self.own is not None and topic.endswith("/selftest"):
            self.own.put(Received(topic, payload, retain))


class Both:
    """Station and box, with what happened."""

    def __init__(self, folder: Path, more: str = "") -> None:
        text = shipped("config/demo.toml").read_text(encoding="utf-8")
        text += '\n[[far_end]]\nname = "bench"\nrole = "wearer"\n[[contacts]]\nname = "ann"\n'
        text += more
        (folder / "station.toml").write_text(text, encoding="utf-8")
        (folder / "box.toml").write_text(BOX, encoding="utf-8")
        self.record = folder / "session.jsonl"
        self.station = load_station(folder / "station.toml")
        self.sounder = load_sounder(folder / "box.toml")
        self.events: list[Event] = []
        self.forbidden = ""

    def play(self, *deeds: tuple[float, Callable[["Both"], Any]], end_s: float) -> None:
        async def whole() -> None:
            self.clock = VirtualClock()
            at_station, at_box = Incoming(), Incoming()
            self.down, self.up = Wire(at_box, own=at_station), Wire(at_station)
            machine = SimulatedMachine(self.clock)
            self.rig = Rig(World(1), machine)
            around = Surroundings(
                machine,
                self.clock,
                demo_wall_clock,
                "test",
                recorder=RecordingWriter(self.record, waits=True),
                teller=Teller(self.station.plan, "0a1b2c3d", self.down),
                incoming=at_station,
                broker_connected=lambda: self.down.whole,
                checked=Checked(forbidden=lambda: self.forbidden),
                listeners=[self._listen],
            )
            self.live = LiveStation(self.station, around)
            self.there = SimulatedMachine(self.clock)
            self.box = SounderBox(
                self.sounder, Fittings(self.there, self.clock, at_box, {"demo": self.up})
            )
            task = asyncio.ensure_future(self.box.run())
            await self.live.run(self._act(deeds, end_s))
            self.box.stop()
            await task

        run_virtual(whole())

    def _listen(self, events: tuple[Event, ...], _: Snapshot) -> None:
        self.events += events

    async def _act(
        self, deeds: tuple[tuple[float, Callable[["Both"], Any]], ...], end_s: float
    ) -> None:
        for at_s, deed in deeds:
            await self.clock.sleep(at_s - self.clock.now_ns() / S)
            deed(self)
        await self.clock.sleep(end_s - self.clock.now_ns() / S)

    # Deeds

    def fan_start(self) -> None:
        self.rig.world.fan_start(self.clock.now_ns())

    def fan_stop(self) -> None:
        self.rig.world.fan_stop(self.clock.now_ns())

    def start(self) -> None:
        self.rig.world.hood_on(self.clock.now_ns())
        self.live.command(Verb.START, By.WEARER)

    def press(self) -> None:
        self.there.simulated_pins.press(BUTTON)

    def release(self) -> None:
        self.there.simulated_pins.release(BUTTON)

    def cut(self) -> None:
        self.down.whole = self.up.whole = False

    def mend(self) -> None:
        self.down.whole = self.up.whole = True

    # What happened

    def alarms(self, rule: str) -> list[tuple[str, str, float]]:
        return [
            (event.after.value, event.why, round(event.due_ns / S, 1))
            for event in self.events
            if isinstance(event, AlarmChanged) and event.rule == rule
        ]

    def rises(self, machine: SimulatedMachine, from_s: float, until_s: float) -> list[float]:
        edges = machine.simulated_pins.edges
        times = [edge.at_ns / S for edge in edges if edge.gpio == BUZZER and edge.high]
        return [at_s for at_s in times if from_s <= at_s < until_s]

    def long_tones(self, machine: SimulatedMachine, from_s: float, until_s: float) -> list[float]:
        """Return the starts (s) of tones too long for any alarm."""
        edges = [edge for edge in machine.simulated_pins.edges if edge.gpio == BUZZER]
        return [
            one.at_ns / S
            for one, other in pairwise(edges)
            if one.high and other.at_ns - one.at_ns > S // 2 and from_s <= one.at_ns / S < until_s
        ]


ORDINARY: tuple[tuple[float, Callable[[Both], Any]], ...] = (
    (0.0, Both.fan_start),
    (10.0, Both.start),
)


def test_lost_air_sounds_at_both_and_a_press_at_the_box_quiets_both(tmp_path: Path) -> None:
    both = Both(tmp_path)
    both.play(
        *ORDINARY, (30.0, Both.fan_stop), (40.0, Both.press), (40.2, Both.release), end_s=60.0
    )
    lost = both.alarms("air_lost")
    assert [(state, why) for state, why, _ in lost[:2]] == [
        ("unacknowledged", ""),
        ("acknowledged", "wearer"),
    ]
    raised_s, answered_s = lost[0][2], lost[1][2]
    assert answered_s == pytest.approx(40.0, abs=0.15)
    here, there = both.rig.machine, both.there
    assert both.rises(here, 30, 60)[0] == pytest.approx(raised_s, abs=0.1)
    assert both.rises(there, 30, 60)[0] == pytest.approx(raised_s, abs=0.1)
    # The half burst that had begun is completed; a killer is quiet for 15 s at most.
    for machine in (here, there):
        assert both.rises(machine, answered_s + 1.5, answered_s + 14.5) == []
        assert both.rises(machine, answered_s + 14.5, answered_s + 17) != []
    assert both.alarms("far_end_unconfirmed_bench") == []
    called = [payload.decode() for topic, payload in both.down.said if topic.endswith("/ann")]
    assert called[0].startswith("LEAVE at demo: Air lost.")
    outcome = replay_file(both.record)
    assert (outcome.differences, outcome.tail) == ((), None)


def test_a_cut_wire_is_told_at_both_ends_in_time_and_is_over_when_mended(tmp_path: Path) -> None:
    both = Both(tmp_path)
    both.play(*ORDINARY, (30.0, Both.cut), (50.0, Both.mend), end_s=75.0)
    unconfirmed = both.alarms("far_end_unconfirmed_bench")
    assert unconfirmed[0][0] == "unacknowledged"
    assert 34.0 <= unconfirmed[0][2] <= 36.1  # 6 s after the last confirmation
    assert unconfirmed[-1][0] == "returned_unacknowledged"
    there = both.rises(both.there, 0, 75)
    assert 33.0 <= there[0] <= 34.1  # LOOK 4 s after the last heartbeat
    assert both.rises(both.there, 39, 40.1) != []  # LEAVE 10 s after it
    # From then on the station's own LOOK sounds there, and the long tones are over.
    assert both.long_tones(both.there, 33, 50) != []
    assert both.long_tones(both.there, 52.2, 75) == []


def test_a_call_for_help_at_the_box_is_an_alarm_at_the_station(tmp_path: Path) -> None:
    both = Both(tmp_path)
    both.play(*ORDINARY, (30.0, Both.press), (33.0, Both.release), end_s=40.0)
    raised = [event for event in both.events if isinstance(event, AlarmChanged)]
    assert [(event.rule, event.priority.value) for event in raised[:1]] == [("help", "high")]
    assert raised[0].due_ns / S == pytest.approx(32.0, abs=0.3)
    assert both.rises(both.rig.machine, 30, 33) != []


def test_a_station_announces_itself_where_it_is_asked_to(tmp_path: Path) -> None:
    broker = '[broker]\nhost = "127.0.0.1"\n'
    for more, expected in ((broker, 0), (f'{broker}discovery_prefix = "ha"\n', 1)):
        folder = tmp_path / str(expected)
        folder.mkdir()
        both = Both(folder, more)
        both.play(end_s=5.0)
        told = [topic for topic, _ in both.down.said if topic.startswith("ha/")]
        assert told == ["ha/device/linetender_demo/config"] * expected


NAMED = '[broker]\nhost = "127.0.0.1"\n'


def test_a_broker_that_is_gone_is_told_here_step_by_step(tmp_path: Path) -> None:
    both = Both(tmp_path, NAMED)
    both.play(*ORDINARY, (32.0, Both.cut), (120.0, Both.mend), end_s=150.0)
    first = {
        rule: both.alarms(rule)[0][2]
        for rule in ("far_end_unconfirmed_bench", "broker_lost", "delivery_unconfirmed")
    }
    assert first["far_end_unconfirmed_bench"] == pytest.approx(38.0, abs=2.1)
    assert first["broker_lost"] == pytest.approx(62.0, abs=1.1)
    assert first["delivery_unconfirmed"] == pytest.approx(90.0, abs=1.1)  # last heard at 30 s
    for rule in first:
        state, _, at_s = both.alarms(rule)[-1]
        assert (state, 130.0 <= at_s <= 142.0) == ("returned_unacknowledged", True), rule
    assert both.alarms("delivery_refused") == []


def test_a_broker_that_lets_the_station_say_nothing_is_told_at_once(tmp_path: Path) -> None:
    both = Both(tmp_path, NAMED)

    def forbid(one: Both) -> None:
        one.forbidden = "the broker's access list refuses linetender/demo/state"

    both.play(*ORDINARY, (30.0, forbid), end_s=40.0)
    assert [alarm[0] for alarm in both.alarms("delivery_refused")] == ["unacknowledged"]
    assert both.alarms("delivery_refused")[0][2] == pytest.approx(30.0, abs=1.1)
    assert both.rises(both.rig.machine, 29.9, 32.0) != []
