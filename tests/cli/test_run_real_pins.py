"""The daemon on the real machine's own code, with gpiozero's mock pins under it.

The sensor's bus does not exist: that is an alarm, and no reason not to start.
"""

import subprocess
import sys
from pathlib import Path

from installed_command import environment
from linetender.cli.exit_codes import ExitCode
from linetender.recording.replay import replay_file
from linetender.settings.shipped import shipped

_HANDS = """
import os, signal, sys, threading, time
from gpiozero.pins.mock import MockFactory
from linetender_drivers.buses import gpio, machine

factory = MockFactory()
machine.RealMachine.pins = lambda self, chip: self._pins.setdefault(
    chip, gpio.RealPins(factory=factory)
)
buzzer, no_wire, nc_wire = factory.pin(22), factory.pin(17), factory.pin(27)

def hands():
    while nc_wire.function != "input" or nc_wire.pull != "up":
        time.sleep(0.01)
    nc_wire.drive_low()                  # the button is let go
    time.sleep(0.3)
    nc_wire.drive_high()
    no_wire.drive_low()                  # and held, for help
    while not (buzzer.function == "output" and buzzer.state):
        time.sleep(0.01)
    os.kill(os.getpid(), signal.SIGTERM)

threading.Thread(target=hands, daemon=True).start()
from linetender.cli.main import main
try:
    main()
finally:
    levels = [bool(one.state) for one in buzzer.states]
    os.write(2, f"buzzer ended {buzzer.function} {levels[-1]}, rose {True in levels}\\n".encode())
"""


def test_a_held_button_sounds_and_sigterm_leaves_the_pin_low(tmp_path: Path) -> None:
    text = shipped("config/demo.toml").read_text()
    text = text.replace('chip = "simulated", ', "")
    text = text.replace('bus = "simulated"', 'bus = "/dev/i2c-99"')
    before, _, after = text.partition("[devices.oximeter]")
    text = before + after[after.index("[devices.answer]") :]
    station, record = tmp_path / "station.toml", tmp_path / "s.jsonl"
    station.write_text(text)
    done = subprocess.run(
        [sys.executable, "-c", _HANDS, "run", station, "--record", record],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        env=environment(XDG_RUNTIME_DIR=str(tmp_path), XDG_STATE_HOME=str(tmp_path / "state")),
    )
    assert done.returncode == ExitCode.FINE, done.stderr
    assert "/dev/i2c-99" in done.stderr
    assert "going on without it" in done.stderr
    assert done.stderr.splitlines()[-1] == "buzzer ended input False, rose True"
    *_, help_line, last = done.stdout.splitlines()
    assert help_line.endswith(" s  LEAVE: Help is asked for. Leave, then take the hood off.")
    assert last == "Stopped. Nothing is being watched now."
    assert (tmp_path / "state" / "linetender" / "demo" / "carryover.json").exists()
    outcome = replay_file(record)
    assert (outcome.differing, outcome.ended) == (0, True)
