"""What a terminal of 80 columns is sent, by a real one: `init`, `pre-use` and the live view.

Each is run on a pseudo-terminal, with and without colour, as a person would run it.
"""

import codecs
import fcntl
import os
import pty
import re
import struct
import subprocess
import termios
from collections.abc import Callable
from pathlib import Path

import pytest

from installed_command import COMMAND
from linetender.cli.exit_codes import ExitCode
from served_world import World, served_world

COLUMNS, ROWS = 80, 40
COLOUR = pytest.mark.parametrize("colour", [True, False], ids=["colour", "no colour"])

_CONTROL = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")
_HUE = re.compile(r"\x1b\[(?:[0-9]+;)*(?:3[0-7]|9[0-7])(?:;[0-9]+)*m")


class Screen:
    """A verb on a terminal of its own.

    Attributes:
        sent: What it has sent to the terminal so far.
        status: Its exit status, at the end.
    """

    def __init__(self, folder: Path, *arguments: str, typed: str = "", colour: bool) -> None:
        leave_out = ("NO_COLOR", "COLUMNS", "LINES", "LINETENDER_PLAIN")
        env = {key: value for key, value in os.environ.items() if key not in leave_out}
        env |= {"TERM": "xterm-256color", "XDG_RUNTIME_DIR": str(folder)}
        env |= {} if colour else {"NO_COLOR": "1"}
        self._master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
        modes = termios.tcgetattr(slave)
        modes[3] &= ~termios.ECHO
        termios.tcsetattr(slave, termios.TCSANOW, modes)
        os.write(self._master, typed.encode())
        self._process = subprocess.Popen(
            [COMMAND, *arguments], stdin=slave, stdout=slave, stderr=slave, env=env, cwd=folder
        )
        os.close(slave)
        self._decoder = codecs.getincrementaldecoder("utf-8")()
        self.sent = ""

    def read_until(self, word: str) -> None:
        """Read until a word has been sent."""
        while word not in self.sent:
            assert self._read(), f"ended before {word!r}: {self.sent}"

    def read_to_its_end(self) -> None:
        """Read until it has ended."""
        while self._read():
            pass
        os.close(self._master)
        self.status = self._process.wait(timeout=30)

    def _read(self) -> bool:
        try:
            data = os.read(self._master, 65_536)
        except OSError:  # EIO: nobody has the terminal any more
            return False
        self.sent += self._decoder.decode(data)
        return bool(data)

    @property
    def lines(self) -> list[str]:
        """All lines ever shown, without what moves the cursor or colours."""
        return re.split(r"[\r\n]+", _CONTROL.sub("", self.sent))


def look(screen: Screen, *, colour: bool, has_hues: bool = True) -> None:
    """Hold what was sent against what holds for every screen."""
    assert max(map(len, screen.lines)) <= COLUMNS
    assert bool(_HUE.search(screen.sent)) is (colour and has_hues)
    assert "Traceback" not in screen.sent


@COLOUR
def test_the_questions_of_init(tmp_path: Path, colour: bool) -> None:
    typed = "shed\nLoft\n\n7\n" + "\n" * 30
    screen = Screen(tmp_path, "init", "--no-search", typed=typed, colour=colour)
    screen.read_to_its_end()
    look(screen, colour=colour, has_hues=False)
    assert screen.status == ExitCode.FINE
    lines = [line for line in screen.lines if line]
    where = "Where does the box stand: at the wearer's end, or beside the fan? (wearer_side,"
    at = lines.index(where)
    assert lines[at : at + 4] == [
        where,
        "  fan_side)",
        "  [wearer_side] >   Not taken: expected wearer_side or fan_side.",
        "  [wearer_side] > ",
    ]
    assert lines[-2:] == [
        "Its normal pressure is still to be measured; until then lint says so.",
        "Next: linetender calibrate station.toml --teach",
    ]
    assert (tmp_path / "station.toml").exists()


Act = Callable[[World, subprocess.Popen[str]], None]


def in_a_shop(folder: Path, act: Act) -> None:
    """Do something while a station runs in a world whose time flies."""
    with (
        served_world(folder, "--held") as world,
        world.background("run", world.station()) as station,
    ):
        world.hand("turn", "fan", "0")  # else the hood would soon be taken for worn
        world.hand("wait", "2", "--stations", "1")
        world.hand("go")
        act(world, station)


@COLOUR
def test_a_check_that_nobody_goes_through(tmp_path: Path, colour: bool) -> None:
    def act(world: World, station: subprocess.Popen[str]) -> None:
        screen = Screen(world.folder, "pre-use", colour=colour)
        screen.read_to_its_end()
        look(screen, colour=colour)
        assert screen.status == ExitCode.FINDINGS
        assert any(" served: pre-use check " in line for line in screen.lines)
        assert "FAILED" in screen.sent
        assert re.search(r"REFUSED \(code \d-\d\): NOT CHECKED", screen.sent)

    in_a_shop(tmp_path, act)


@COLOUR
def test_the_live_view_until_the_station_ends(tmp_path: Path, colour: bool) -> None:
    def act(world: World, station: subprocess.Popen[str]) -> None:
        world.hand("press", "answer", "--hold", "3")
        screen = Screen(world.folder, "status", "--watch", colour=colour)
        screen.read_until("Help is asked for")
        station.terminate()
        screen.read_to_its_end()
        look(screen, colour=colour)
        assert screen.status == ExitCode.DEVICE
        assert any("sounder: LEAVE" in line for line in screen.lines)
        assert station.communicate(timeout=30)[1] == ""

    in_a_shop(tmp_path, act)
