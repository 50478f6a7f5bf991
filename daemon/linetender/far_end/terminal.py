"""A laptop as a second box: its bell for a buzzer, its keyboard for the button."""

import asyncio
import contextlib
import os
import sys
import termios
import tty
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from linetender.core.events import Demand, Sound
from linetender.core.inputs import ContactState
from linetender.core.instants import SECOND_NS
from linetender.far_end.box import HELD_NS
from linetender.runtime.clock import StationClock
from linetender.runtime.far_ends import ANSWER
from linetender.runtime.inbox import Inbox
from linetender_drivers.measurements import ContactChange

KEYBOARD = "keyboard"
HELP_KEYS = frozenset(b"hH")
"""These call for help, as holding the button does; any other key answers."""

BELL = "\a"

ENDS = "Press now to say that nobody is in there."

_WORDS = {Sound.HIGH: "LEAVE", Sound.MEDIUM: "LOOK", Sound.LOW: "LOOK", Sound.TICKS: "?"}


@dataclass
class TerminalBuzzer:
    """The bell as an output: rung at the pulses, once a second at most, with the words.

    Attributes:
        put: Takes a line for the terminal and never waits.
        clock: The box's time.
        line: What sounds, in words.
        name, output: As in a file.
    """

    put: Callable[[str], None]
    clock: StationClock
    line: str = ""
    name: str = "terminal"
    output: str = "buzzer"
    _rung_ns: int = -SECOND_NS

    def say(self, demand: Demand) -> None:
        """Say in words what is asked for from now on."""
        word = _WORDS.get(demand.sound, "quiet")
        said = demand.say or (ENDS if demand.sound is Sound.TICKS else "")
        line = f"{word}  {said}".rstrip()
        if line != self.line:
            self.line = line
            self.put(line)

    async def open(self) -> None:
        """Nothing is to be opened."""

    def write(self, on: bool) -> None:
        """Ring at the begin of a pulse, and say again what sounds."""
        now_ns = self.clock.now_ns()
        if on and now_ns - self._rung_ns >= SECOND_NS:
            self._rung_ns = now_ns
            self.put(f"{BELL}{self.line}")

    async def close(self) -> None:
        """Nothing is to be closed."""


class Keyboard:
    """Keys as presses of the button.

    Args:
        clock: The box's time.
        descriptor: Where keys come from.
    """

    def __init__(self, clock: StationClock, descriptor: int | None = None) -> None:
        self._clock = clock
        self._descriptor = sys.stdin.fileno() if descriptor is None else descriptor

    async def watch(self, inbox: Inbox) -> None:
        """Turn keys into presses, for ever; without a keyboard there are none."""
        keys: asyncio.Queue[bytes] = asyncio.Queue()
        loop = asyncio.get_running_loop()
        with _single_keys(self._descriptor), contextlib.suppress(OSError):
            loop.add_reader(self._descriptor, self._read, keys)
            try:
                while pressed := await keys.get():
                    await self._press(inbox, is_long=bool(HELP_KEYS & set(pressed)))
            finally:
                loop.remove_reader(self._descriptor)
        await asyncio.Event().wait()

    def _read(self, keys: asyncio.Queue[bytes]) -> None:
        try:
            pressed = os.read(self._descriptor, 64)
        except OSError:
            pressed = b""
        if not pressed:
            asyncio.get_running_loop().remove_reader(self._descriptor)
        keys.put_nowait(pressed)

    async def _press(self, inbox: Inbox, *, is_long: bool) -> None:
        inbox.contact(KEYBOARD, ContactChange(ANSWER, ContactState.CLOSED))
        await self._clock.sleep(1.1 * HELD_NS / 1e9 if is_long else 0.05)
        inbox.contact(KEYBOARD, ContactChange(ANSWER, ContactState.OPEN))


@contextlib.contextmanager
def _single_keys(descriptor: int) -> Iterator[None]:
    """Let a terminal give each key at once, without showing it; leave it as it was."""
    if not os.isatty(descriptor):
        yield
        return
    before = termios.tcgetattr(descriptor)
    tty.setcbreak(descriptor)
    try:
        yield
    finally:
        termios.tcsetattr(descriptor, termios.TCSADRAIN, before)
