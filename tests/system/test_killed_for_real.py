"""`linetender run` killed by kill -9 at random instants of a day, and run again.

Everything is real but the shop: the process, its files, its local socket. The day is
played in a served world, where it is the same each time; one day without a kill tells
what was so when. A kill comes while the station works, not in between: time is let pass
and is not waited for. 6 instants in a usual run, 200 with `--hypothesis-profile=long`.
"""

import random
import re
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import msgspec
import pytest
from hypothesis import settings
from typer.testing import CliRunner

from linetender.cli.main import app
from linetender.core.carryover import Carryover
from linetender.core.events import BaselineSet, Event, Sound, StageChanged
from linetender.core.pre_use import CheckState
from linetender.core.session import blind_words
from linetender.core.signals import Signal
from linetender.core.snapshot import Question, Snapshot
from linetender.core.stages import Stage
from linetender.recording.reader import RecordingReader
from linetender.runtime.carryover_file import KeptState
from linetender.runtime.control_messages import Status
from linetender_drivers.simulated.world_link import WorldLink
from linetender_drivers.simulated.world_wire import (
    Answer,
    Fault,
    Look,
    Pass,
    Press,
    Request,
    Turn,
)
from served_world import S, World, served_world

KILLS = 6 if settings().max_examples < 1_000 else 200
SEED = 11

BLIND_S = 4.0
LAST_S = 295.0
UNKEPT_S = 2.0
"""So much real time a busy disk may take for keeping an event."""

BUZZER = 22

Hand = Callable[[int], Request]


def press(number: int) -> Request:
    return Press(number, "answer", 0.3)


def turn(knob: str, to: float) -> Hand:
    return lambda number: Turn(number, knob, to)


def fails(fault: str) -> Hand:
    return lambda number: Fault(number, fault)


HEARS: tuple[float, Hand | None] = (180.0, None)
"""Wait until the sounder begins, 180 s at most."""

DAY: tuple[tuple[float, Hand | None], ...] = (
    (2.0, press),
    (3.0, turn("fan", 1.0)),
    (20.0, press),
    (0.0, turn("hood", 1.0)),
    HEARS,  # two chirps: hood on
    (8.0, lambda number: Look(number)),
    HEARS,  # the test sound
    (1.0, press),
    (10.0, press),  # the use begins
    (30.0, fails("fan_stop")),
    HEARS,  # LEAVE
    (2.0, press),
    (2.0, press),  # the question
    (4.0, press),  # out
    (10.0, press),  # that LEAVE was false
)
"""Seconds to let pass, and a deed: check, use, a LEAVE that is answered, out, the evening."""


@dataclass
class Script:
    """A hand in a world.

    Attributes:
        deeds: What was done, and when (ns).
        marks: Real instants (s), and what time it was in the world (ns).
    """

    world: World
    deeds: list[tuple[int, Hand]] = field(default_factory=list)
    marks: list[tuple[float, int]] = field(default_factory=list)

    def do(self, request: Hand) -> Answer:
        link = WorldLink(self.world.at)
        try:
            return link.answer(request(1))
        finally:
            link.close()

    @property
    def now_ns(self) -> int:
        now_ns = self.do(lambda number: Look(number)).now_ns
        self.marks.append((time.monotonic(), now_ns))
        return now_ns

    def time_before(self, seconds: float) -> int:
        """Return what time it was in the world (ns) so many real seconds ago, or earlier."""
        ago_s = time.monotonic() - seconds
        return max((now_ns for real_s, now_ns in self.marks if real_s <= ago_s), default=0)

    def let_pass(self, seconds: float, stations: int = 1) -> None:
        self.do(lambda number: Pass(number, seconds, stations=stations))

    def play(self) -> None:
        for seconds, deed in DAY:
            if deed is None:
                heard = self.do(lambda number, most=seconds: Pass(number, most, BUZZER, True))
                assert heard.high, "nothing sounded"
                continue
            self.let_pass(seconds)
            self.deeds.append((self.now_ns, deed))
            self.do(deed)

    def play_until(self, end_ns: int, deeds: list[tuple[int, Hand]]) -> None:
        for at_ns, deed in deeds:
            if at_ns >= end_ns:
                break
            self.let_pass(max(0.0, (at_ns - self.now_ns) / S))
            self.do(deed)
        self.let_pass(max(0.0, (end_ns - self.now_ns) / S))


@dataclass(frozen=True)
class Reference:
    """A day that nobody killed.

    Attributes:
        deeds: What was done, and when (ns).
        events: What the station said.
    """

    deeds: list[tuple[int, Hand]]
    events: tuple[Event, ...]

    def stage_at(self, instant_ns: int) -> Stage:
        stages = [e.after for e in self._until(instant_ns) if isinstance(e, StageChanged)]
        return stages[-1] if stages else Stage.IDLE

    def baseline_at(self, instant_ns: int) -> float | None:
        values = [
            event.value
            for event in self._until(instant_ns)
            if isinstance(event, BaselineSet) and event.signal is Signal.HOOD_PRESSURE_PA
        ]
        return values[-1] if values else None

    def newest_ns(self, instant_ns: int) -> int:
        """Return when the last event before an instant was."""
        return max((event.due_ns for event in self._until(instant_ns)), default=0)

    def _until(self, instant_ns: int) -> Iterator[Event]:
        return (event for event in self.events if event.due_ns <= instant_ns)


@contextmanager
def shop(folder: Path) -> Iterator[tuple[World, Path]]:
    """Serve a held world, its fan off, and write a station that reads five times a second."""
    with served_world(folder, "--held") as world:
        path = world.station()
        text = path.read_text(encoding="utf-8")
        path.write_text(text.replace("address = 0x25", "address = 0x25, period_s = 0.2"))
        Script(world).do(turn("fan", 0.0))
        yield world, path


@pytest.fixture(name="reference", scope="module")
def _reference(tmp_path_factory: pytest.TempPathFactory) -> Reference:
    folder = tmp_path_factory.mktemp("reference")
    record = folder / "day.jsonl"
    with shop(folder) as (world, path), world.background("run", path, "--record", record) as run:
        script = Script(world)
        script.play()
        script.let_pass(LAST_S + 5.0 - script.now_ns / S)
        run.terminate()
        run.wait(timeout=30)
    events = [
        event for part in RecordingReader(record).parts() for event in getattr(part, "events", ())
    ]
    return Reference(script.deeds, tuple(events))


def test_the_day_has_all_that_a_day_has(reference: Reference) -> None:
    stages = [event.after for event in reference.events if isinstance(event, StageChanged)]
    assert stages == [Stage.PRE_USE, Stage.WORN, Stage.IDLE]
    assert reference.newest_ns(1000 * S) < LAST_S * S


def instant_s(number: int) -> float:
    """Draw an instant in one of as many equal parts of the day as there are kills."""
    part = (LAST_S - 3.0) / KILLS
    return 3.0 + part * (number + random.Random(1000 * SEED + number).random())


@pytest.mark.parametrize("number", range(KILLS))
def test_killed_and_run_again_it_stands_right_and_says_so(
    reference: Reference, tmp_path: Path, number: int
) -> None:
    when_s, is_power_cut = instant_s(number), number % 3 == 2
    with shop(tmp_path) as (world, path):
        script = Script(world)
        with world.background("run", path) as run:
            script.play_until(round(when_s * S), reference.deeds)
            kill_at_work(run, script, number)
            must_know_ns = script.time_before(UNKEPT_S)
        kept = kept_state(world)
        assert reference.newest_ns(must_know_ns) <= kept.at_ns
        if is_power_cut and kept.boot:
            write_state(world, msgspec.structs.replace(kept, boot="another boot"))
        script.let_pass(BLIND_S, stations=0)
        again_ns = script.now_ns
        blind = blind_words(None if is_power_cut else again_ns - kept.at_ns)
        with world.background("run", path) as again:
            script.let_pass(2.0)
            snapshot = status(world, tmp_path)
            script.let_pass(8.0)
            again.terminate()
            said, errors = again.communicate(timeout=30)
        before = reference.stage_at(kept.at_ns)
        told = [line for line in said.splitlines() if line.startswith("Resuming ")]
        assert errors == ""
        if before is Stage.WORN:
            assert told == [f"Resuming worn: the station was blind for {blind}."]
            look_worn(
                snapshot, said, blind, None if is_power_cut else reference.baseline_at(kept.at_ns)
            )
            return
        assert (snapshot.stage, told) == (Stage.IDLE, [])
        assert snapshot.question is not Question.HOOD
        refused = CheckState.REFUSED if before is Stage.PRE_USE else CheckState.NONE
        assert snapshot.check.state is refused
        if before is Stage.IDLE:
            sounds = [at_ns for at_ns, level in world.edges(BUZZER) if level and at_ns >= again_ns]
            assert sounds == []
            assert re.findall(r" s  (?:LEAVE|LOOK).*", said) == []


def kill_at_work(run: subprocess.Popen[str], script: Script, number: int) -> None:
    """Let time pass, and kill the station meanwhile."""
    passing = WorldLink(script.world.at)
    try:
        passing.expect(Pass(1, 1.0))
        for _ in range(random.Random(number).randrange(30)):
            script.do(lambda number: Look(number))
        run.kill()
        run.wait(timeout=30)
        while passing.taken(1) is None:
            passing.receive()
    finally:
        passing.close()


def state_file(world: World) -> Path:
    return world.at / "state" / "served" / "carryover.json"


def kept_state(world: World) -> KeptState:
    if not state_file(world).exists():
        return KeptState("", 0, Carryover({}))
    return msgspec.json.decode(state_file(world).read_bytes(), type=KeptState)


def write_state(world: World, kept: KeptState) -> None:
    """Leave what a power cut leaves: the state of an earlier boot."""
    state_file(world).write_bytes(msgspec.json.encode(kept))


def status(world: World, folder: Path) -> Snapshot:
    """Ask the daemon how it stands, by the public verb."""
    done = CliRunner().invoke(app, ["status", "--json"], env={"XDG_RUNTIME_DIR": str(folder)})
    return msgspec.json.decode(done.stdout, type=Status).snapshot


def look_worn(snapshot: Snapshot, said: str, blind: str, baseline: float | None) -> None:
    """Hold what the next run says in its first seconds against what it must."""
    assert snapshot.stage is Stage.WORN
    assert snapshot.air_armed
    assert [view.rule for view in snapshot.alarms if view.rule == "resumed"] == ["resumed"]
    is_asked = blind == "an unknown time"
    assert (snapshot.question is Question.HOOD) is is_asked
    if baseline is not None or is_asked:
        assert snapshot.air_baseline == baseline
    if is_asked:
        assert (snapshot.demand.tell, snapshot.demand.far) == ((), Sound.SILENT)
    else:
        assert " s  LOOK: The box was started anew. For a while nothing was watched." in said
