"""What becomes of the link when a process that reads an oximeter ends."""

import asyncio
import signal
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from bluez.peripheral import CONTINUOUS, oximeter
from bluez.room import Room, needs_dbus, play, until
from bluez.worn_oximeter import WornOximeter, frame

pytestmark = needs_dbus

PROGRAM = Path(__file__).resolve().parents[1] / "bluez" / "oximeter_process.py"


@asynccontextmanager
async def another_process(room: Room) -> AsyncIterator[asyncio.subprocess.Process]:
    """Start a process that reads the oximeter; it is reading when this is entered."""
    clip = room.peripherals[0]
    process = await asyncio.create_subprocess_exec(
        sys.executable, str(PROGRAM), clip.address, stdout=asyncio.subprocess.PIPE
    )
    assert process.stdout is not None
    try:
        await until(
            lambda: room.bluez.notify(clip, CONTINUOUS, frame(7)), "the process has subscribed"
        )
        assert await process.stdout.readline() == b"up\n"
        yield process
    finally:
        if process.returncode is None:
            process.kill()
        await process.communicate()


def test_a_process_that_is_told_to_end_leaves_no_link() -> None:
    async def scene(room: Room) -> tuple[int | None, bool]:
        async with another_process(room) as process:
            process.send_signal(signal.SIGTERM)
            await process.wait()
            return process.returncode, room.peripherals[0].is_connected

    assert play(scene, oximeter()) == (0, False)


def test_the_link_of_a_killed_process_is_taken_over() -> None:
    async def scene(room: Room) -> None:
        clip = room.peripherals[0]
        async with another_process(room) as process:
            process.kill()
            await process.wait()
        assert clip.is_connected, "nobody has ended its link"
        connections = room.bluez.calls.count("Connect")
        async with WornOximeter(room, clip) as worn:
            await until(lambda: len(worn.got) > 3, "values come again")
        assert room.bluez.calls.count("Connect") == connections
        assert not clip.is_connected

    play(scene, oximeter())
