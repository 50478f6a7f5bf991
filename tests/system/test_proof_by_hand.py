"""A proof test as a person does it: the verb in one window, the plug in the other hand."""

import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path
from queue import Empty, Queue
from threading import Thread

import pytest

from installed_command import linetender
from linetender.cli.exit_codes import ExitCode
from linetender.memory.proofs import ProofRecord, proofs_in
from linetender.memory.store import open_store
from served_world import S, World, served_world

MAINS = """
[devices.mains]
driver = "gpio_contact"
contact = "fan_mains"
options = { gpio = 19, chip = "simulated:world" }
"""
BUZZER = 22


LONGEST_S = 100
"""Simulated seconds that may pass until the verb says what is awaited."""


class Window:
    """The verb's own window: what it says, line by line, and what is typed."""

    def __init__(self, process: "subprocess.Popen[str]", world: World) -> None:
        self.process = process
        self.said: list[str] = []
        self._world = world
        self._lines: Queue[str] = Queue()
        Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self._lines.put(line)

    def until(self, words: str) -> None:
        """Read on until a line has these words; while nothing is said, time passes."""
        for _ in range(LONGEST_S):
            try:
                self.said.append(self._lines.get(timeout=0.2))
            except Empty:
                self._world.hand("wait", "1")
            else:
                if words in self.said[-1]:
                    return
        raise AssertionError(f"{words!r} did not come: {self.said}")

    def type(self, line: str = "") -> None:
        """Type a line."""
        assert self.process.stdin is not None
        self.process.stdin.write(f"{line}\n")
        self.process.stdin.flush()

    def ends(self) -> tuple[int, str]:
        """Return the exit status, and all it said."""
        code = self.process.wait(30)
        assert self.process.stderr is not None
        assert self.process.stderr.read() == ""
        while not self._lines.empty():
            self.said.append(self._lines.get())
        return code, words("".join(self.said))


@pytest.fixture(name="world")
def _world(tmp_path: Path) -> Iterator[World]:
    """Serve a world in which nobody wears anything, and the fan has run for a while."""
    with served_world(tmp_path, "--held") as world:
        path = world.station()
        path.write_text(path.read_text(encoding="utf-8") + MAINS, encoding="utf-8")
        with world.background("run", path):
            world.hand("wait", "1", "--stations", "1")
            world.hand("fault", "oximeter_off")
            world.hand("wait", "80")
            yield world


def words(text: str) -> str:
    """Return a text without its line breaks."""
    return " ".join(text.split())


def kept(world: World) -> list[ProofRecord]:
    with open_store(world.at / "state" / "served") as store:
        return proofs_in(store)


def prove(world: World, window: Window, fault: str, after: str, *, marks: bool) -> float:
    """Make a fault and mend it; return when it was made (s)."""
    window.until("Enter: go on.")
    window.type()
    window.until("Ready.")
    if marks:
        window.type()
        window.until("Marked")
    made_s = world.look()["now_s"]
    world.hand("fault", fault)
    world.hand("wait", "8")
    window.until(after)
    window.type()
    world.hand("fault", fault, "--clear")
    return float(made_s)


def test_a_plug_a_pinch_and_a_walk(world: World) -> None:
    with world.background("proof") as process:
        window = Window(process, world)
        pulled_s = prove(world, window, "mains_lost", "Plug the fan in again.", marks=False)
        prove(world, window, "duct_crushed", "Let the duct go", marks=True)
        for _ in ("duct off at the fan", "duct off at the hood's end"):
            window.until("Enter: go on.")
            window.type("s steel pipe, screwed")
        window.until("Enter as you set off")
        window.type("7,5")
        code, said = window.ends()
    assert code == ExitCode.FINE, said
    assert "In clean air only." in said and "The hood is OFF your head" in said
    assert "+ 7.5 s to leave = " in said
    records = kept(world)
    assert [(one.step, one.result, one.clock, one.rule) for one in records] == [
        ("fan_plug", "passed", "mains", "fan_mains_lost"),
        ("duct_pinched", "passed", "enter", "air_lost"),
        ("duct_off_at_fan", "skipped", "", ""),
        ("duct_off_at_hood", "skipped", "", ""),
        ("walk", "passed", "watch", ""),
    ]
    # The world's own witness of the pin: from the plug to the sound.
    sounded_s = next(at_ns / S for at_ns, level in world.edges(BUZZER) if level and at_ns)
    assert records[0].seconds is not None
    assert 0.0 <= (sounded_s - pulled_s) - records[0].seconds < 0.2
    assert "Proof test: good until" in world.verb("status").stdout
    assert world.verb("proof", "--list").stdout.count("steel pipe, screwed") == 2
    # The walk took longer than the file says: from the next start on it counts.
    assert "exit_time_s = 7\n" in (world.folder / "served.toml").read_text(encoding="utf-8")
    linted = words(world.verb("lint", world.folder / "served.toml").stdout)
    assert "7.5 s to leave" in linted
    assert "Proof test, fan plug: passed on " in linted


def test_ctrl_c_keeps_what_was_measured_and_says_what_was_not_done(world: World) -> None:
    with world.background("proof") as process:
        window = Window(process, world)
        prove(world, window, "mains_lost", "Plug the fan in again.", marks=False)
        window.until("Enter: go on.")
        process.send_signal(signal.SIGINT)
        code, said = window.ends()
    assert code == ExitCode.FINDINGS
    assert "Stopped by Ctrl-C." in said
    assert "duct pinched not done" in said
    assert [one.step for one in kept(world)] == ["fan_plug"]
    status = words(world.verb("status").stdout)
    assert "never done: duct pinched, duct off at the fan" in status


def test_what_cannot_be_done_is_said(world: World) -> None:
    worn = world.verb("start", "--wearer")
    assert worn.returncode == ExitCode.FINE
    world.hand("wait", "1")
    done = world.verb("proof")
    assert (done.returncode, done.stdout) == (ExitCode.FINDINGS, "")
    assert "the station takes the hood as worn" in done.stderr
    world.verb("end", "--wearer")
    world.hand("wait", "1")
    done = world.verb("proof", "--step", "box_plug")
    assert done.returncode == ExitCode.USAGE
    assert "this station has no step box_plug" in done.stderr
    done = world.verb("proof", "--step", "walk")  # nobody types
    assert done.returncode == ExitCode.FINDINGS
    assert "Nobody types any more: stopped." in done.stdout
    done = world.verb("proof", "--step", "walk", "--seconds", "60", "--json")
    assert done.returncode == ExitCode.FINDINGS
    assert '"step":"walk","result":"failed"' in done.stdout
    assert [one.seconds for one in kept(world)] == [60.0]


def test_without_a_station_there_is_nothing_to_prove(tmp_path: Path) -> None:
    done = linetender("proof", XDG_RUNTIME_DIR=str(tmp_path))
    assert done.returncode == ExitCode.DEVICE
    assert "no daemon that watches a station runs here" in done.stderr
