"""A laptop as a second box: bell and keys."""

import asyncio
import os

import pytest

from linetender.core.events import Demand, Sound
from linetender.core.inputs import Contact, ContactState
from linetender.far_end.terminal import Keyboard, TerminalBuzzer
from linetender.runtime.inbox import Inbox
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

S = 1_000_000_000


def test_the_bell_rings_once_a_second_with_the_words_and_each_line_is_said_once() -> None:
    async def scene() -> list[str]:
        clock = VirtualClock()
        lines: list[str] = []
        bell = TerminalBuzzer(lines.append, clock)
        bell.say(Demand())
        bell.say(Demand(Sound.HIGH, say="shed: Air lost."))
        bell.say(Demand(Sound.HIGH, rule="other", say="shed: Air lost."))
        for _ in range(20):
            bell.write(True)
            bell.write(False)
            await clock.sleep(0.1)
        bell.say(Demand(Sound.TICKS))
        return lines

    assert run_virtual(scene()) == [
        "quiet",
        "LEAVE  shed: Air lost.",
        "\aLEAVE  shed: Air lost.",
        "\aLEAVE  shed: Air lost.",
        "?  Press now to say that nobody is in there.",
    ]


@pytest.mark.parametrize(("keys", "longest_s"), [(b" ", 0.1), (b"x\n", 0.1), (b"h", 2.3)])
def test_a_key_is_a_press_and_h_is_held_long_enough_to_call_for_help(
    keys: bytes, longest_s: float
) -> None:
    reading, writing = os.pipe()

    async def scene() -> list[tuple[float, ContactState]]:
        clock = VirtualClock()
        inbox = Inbox(clock)
        task = asyncio.ensure_future(Keyboard(clock, reading).watch(inbox))
        await clock.sleep(1)
        os.write(writing, keys)
        os.close(writing)
        await clock.sleep(10)
        task.cancel()
        return [(one.arrived_ns / S, one.state) for one in inbox.take() if isinstance(one, Contact)]

    (down_s, down), (up_s, up) = run_virtual(scene())
    os.close(reading)
    assert (down, up) == (ContactState.CLOSED, ContactState.OPEN)
    assert longest_s / 2.2 <= up_s - down_s <= longest_s
