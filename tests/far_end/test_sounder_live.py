"""A second box and its station, both live, joined by a transport that a test can cut."""

import asyncio
import threading
from collections.abc import Callable, Coroutine
from itertools import pairwise
from pathlib import Path
from typing import Any

import msgspec
import pytest

from linetender.annunciation.far_payloads import Confirm, Press
from linetender.annunciation.payloads import AlarmSummary, Alive, State
from linetender.core.alarm_table import AlarmState
from linetender.core.events import Sound
from linetender.core.stages import Priority, Stage
from linetender.far_end import box_memory
from linetender.far_end.box_memory import BoxMemory
from linetender.far_end.remote_watch import Remembered
from linetender.far_end.sounder import Fittings, SounderBox
from linetender.runtime.incoming import Incoming, Received
from linetender.settings.sounder_file import Sounder, load_sounder
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

S = 1_000_000_000
BUZZER, LAMP = 22, 23
FILE = """
schema = 1
kind = "sounder"
box = { name = "bench" }
broker = { host = "127.0.0.1" }
stations = [{ id = "shed", role = "ROLE" }]
[devices.buzzer]
driver = "gpio_buzzer"
output = "buzzer"
options = { chip = "simulated", gpio = 22 }
[devices.lamp]
driver = "gpio_lamp"
output = "lamp_green"
options = { chip = "simulated", gpio = 23 }
[devices.answer]
driver = "gpio_button"
contact = "answer"
options = { chip = "simulated", no_gpio = 17 }
"""


class Joined:
    """A box in virtual time, and what its station would send and hear."""

    def __init__(self, folder: Path, role: str = "wearer", memory: bool = False) -> None:
        file = folder / "bench.toml"
        file.write_text(FILE.replace("ROLE", role))
        self.sounder: Sounder = load_sounder(file)
        self.folder = folder
        self.with_memory = memory
        self.incoming = Incoming()
        self.told: list[tuple[float, str, Any]] = []
        self.seq = 0

    def play(self, script: Callable[["Joined"], Coroutine[Any, Any, None]]) -> list[float]:
        """Run the box along a script; return the instants (s) at which its buzzer rose."""

        async def whole() -> list[float]:
            self.clock = VirtualClock()
            self.machine = SimulatedMachine(self.clock)
            memory = BoxMemory(self.folder / "state") if self.with_memory else None
            links = {"shed": self._publish}
            self.box = SounderBox(
                self.sounder, Fittings(self.machine, self.clock, self.incoming, links, memory)
            )
            task = asyncio.ensure_future(self.box.run())
            await script(self)
            self.box.stop()
            await task
            if memory is not None:
                memory.close()
            edges = [one for one in self.machine.simulated_pins.edges if one.gpio == BUZZER]
            assert not edges[-1].high, "the buzzer is left sounding"
            return [one.at_ns / S for one in edges if one.high]

        return run_virtual(whole())

    def _publish(
        self,
        topic: str,
        payload: bytes,
        *,
        qos: int = 0,
        retain: bool = False,
        expiry_s: int | None = None,
    ) -> None:
        shape: type[Confirm] | type[Press] = Confirm if topic.endswith("confirm") else Press
        assert (qos, retain) == (1, False)
        made = msgspec.json.decode(payload, type=shape)
        self.told.append((self.clock.now_ns() / S, topic.rsplit("/", 1)[1], made))

    async def beats(self, seconds: int, stage: Stage = Stage.WORN, far: str = "silent") -> None:
        for _ in range(seconds):
            self.seq += 1
            alive = Alive("0a1b2c3d", self.seq, stage, 0, Sound(far))
            self.hear("alive", msgspec.json.encode(alive))
            await self.clock.sleep(1)

    def alarm(self, seq: int) -> None:
        listed = AlarmSummary("air", 3, AlarmState.UNACKNOWLEDGED, Priority.HIGH, "Air lost.")
        state = State("0a1b2c3d", seq, "", True, Stage.WORN, {}, (listed,), Sound.HIGH)
        self.hear("state", msgspec.json.encode(state))

    def hear(self, what: str, payload: bytes) -> None:
        self.incoming.put(Received(f"linetender/shed/{what}", payload, False))

    async def press(self, length_s: float) -> None:
        self.machine.simulated_pins.press(17)
        await self.clock.sleep(length_s)
        self.machine.simulated_pins.release(17)


@pytest.mark.parametrize(("role", "look_s", "leave_s"), [("wearer", 4, 10), ("attendant", 20, 60)])
def test_silence_while_worn_sounds_in_time(
    role: str, look_s: int, leave_s: int, tmp_path: Path
) -> None:
    async def script(joined: Joined) -> None:
        await joined.beats(5)
        await joined.clock.sleep(leave_s + 2)

    rises = Joined(tmp_path, role).play(script)
    # The last heartbeat came at 4 s.
    assert rises[0] == pytest.approx(4 + look_s, abs=0.001)
    assert 4 + leave_s in [pytest.approx(rise, abs=0.001) for rise in rises]


def test_silence_in_idle_never_sounds_and_garbage_neither(tmp_path: Path) -> None:
    async def script(joined: Joined) -> None:
        await joined.beats(5, Stage.IDLE)
        for payload in (b"", b"{}", b"\xff", b"[" * 5000, b'{"run": 1}', b"x" * 100_000):
            joined.hear("alive", payload)
            joined.hear("state", payload)
        await joined.clock.sleep(3600)

    joined = Joined(tmp_path)
    assert joined.play(script) == []
    assert joined.incoming.dropped == 2


def test_it_confirms_every_two_seconds_and_each_change_and_stops_in_silence(
    tmp_path: Path,
) -> None:
    async def script(joined: Joined) -> None:
        await joined.beats(4)
        joined.alarm(1)
        await joined.beats(2, far="high")
        await joined.clock.sleep(20)

    joined = Joined(tmp_path)
    joined.play(script)
    confirms = [(at, one.heard, one.shown, one.sounding.value) for at, _, one in joined.told]
    changes = [one for one in confirms if one[0] >= 4 and one[0] < 5]
    assert [one[2:] for one in changes][:2] == [(0, "high"), (3, "high")]
    assert changes[1][0] == pytest.approx(4.3, abs=0.001)
    assert max(at for at, *_ in confirms) < 5 + 4
    gaps = [later[0] - earlier[0] for earlier, later in pairwise(confirms)]
    assert max(gaps) <= 2.21


def test_a_tap_goes_out_at_once_and_quiets_and_a_hold_calls_for_help(tmp_path: Path) -> None:
    async def script(joined: Joined) -> None:
        await joined.beats(2)
        joined.alarm(1)
        await joined.beats(2, far="high")
        await joined.press(0.2)
        await joined.beats(3, far="high")
        await joined.press(2.5)
        await joined.beats(1, far="high")

    joined = Joined(tmp_path)
    rises = joined.play(script)
    presses = [(round(at, 1), one) for at, what, one in joined.told if what == "press"]
    assert [(one.count, one.shown, one.gesture.value) for _, one in presses] == [
        (1, 3, "tap"),
        (2, 3, "tap"),
        (3, 3, "hold"),
    ]
    tapped_s, held_s = presses[0][0], presses[2][0]
    assert tapped_s == pytest.approx(4.0, abs=0.1)
    # A half burst that has begun is completed (1 s); then it is quiet until the call.
    quiet = [rise for rise in rises if tapped_s + 1.1 < rise < held_s - 0.1]
    assert quiet == []
    assert [rise for rise in rises if rise == pytest.approx(held_s, abs=0.2)]


def test_a_box_that_starts_again_and_hears_nothing_counts_as_having_heard(tmp_path: Path) -> None:
    async def worn(joined: Joined) -> None:
        await joined.beats(3)

    async def nothing(joined: Joined) -> None:
        await joined.clock.sleep(12)

    async def ended(joined: Joined) -> None:
        joined.seq = 10
        await joined.beats(3, Stage.IDLE)

    joined = Joined(tmp_path, memory=True)
    assert joined.play(worn) == []
    memory = BoxMemory(tmp_path / "state")
    kept = memory.recall()
    memory.close()
    assert kept == {"shed": Remembered("0a1b2c3d", 0, Stage.WORN, False)}
    rises = joined.play(nothing)
    assert rises[0] == pytest.approx(4, abs=0.001)
    assert joined.play(ended) == []
    assert joined.play(nothing) == []


def test_the_green_lamp_says_that_the_box_itself_lives(tmp_path: Path) -> None:
    async def script(joined: Joined) -> None:
        await joined.clock.sleep(10)

    joined = Joined(tmp_path)
    joined.play(script)
    edges = [one for one in joined.machine.simulated_pins.edges if one.gpio == LAMP]
    assert len(edges) >= 18


@pytest.mark.parametrize("content", ["not json", '{"shed": 3}', "\xff"])
def test_a_memory_that_cannot_be_read_is_none(content: str, tmp_path: Path) -> None:
    (tmp_path / "stations.json").write_text(content, encoding="latin-1")
    memory = BoxMemory(tmp_path)
    assert memory.recall() == {}
    memory.close()


def test_a_disk_that_refuses_is_said_once_and_tried_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    tried: list[int] = []

    def write(path: Path, data: bytes) -> None:
        tried.append(len(data))
        if len(tried) < 4:
            raise OSError(28, "No space left on device")
        done.set()

    done = threading.Event()
    monkeypatch.setattr(box_memory, "write_whole", write)
    monkeypatch.setattr(box_memory, "RETRY_AFTER_S", 0.01)
    memory = BoxMemory(tmp_path)
    memory.keep({"shed": Remembered("0a1b2c3d", 1, Stage.WORN, False)})
    assert done.wait(20)
    memory.close()
    assert len(tried) == 4
    assert [record.getMessage().partition(": ")[2] for record in caplog.records] == [
        "No space left on device; the last stage is not kept"
    ]
