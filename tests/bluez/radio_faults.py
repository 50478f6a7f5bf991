"""What befalls a radio in mid-use, and how it is mended."""

from collections.abc import Awaitable, Callable
from typing import Protocol

from bluez.room import Room


class Played(Protocol):
    """A scene with an oximeter that talks.

    Attributes:
        room: Where it is.
        is_talking: Whether it sends.
    """

    room: Room
    is_talking: bool


async def _freeze(scene: Played) -> None:
    scene.room.bluez.freeze()
    scene.is_talking = False


async def _thaw(scene: Played) -> None:
    scene.room.bluez.thaw()
    scene.is_talking = True


async def _kill(scene: Played) -> None:
    await scene.room.bluez.stop()


async def _restart(scene: Played) -> None:
    await scene.room.restart_bluez()


async def _pull(scene: Played) -> None:
    scene.room.bluez.pull_adapter()


async def _plug(scene: Played) -> None:
    scene.room.bluez.plug_adapter()


async def _leave(scene: Played) -> None:
    scene.room.peripherals[0].is_advertising = False
    scene.room.bluez.drop(scene.room.peripherals[0])


async def _come_back(scene: Played) -> None:
    scene.room.peripherals[0].is_advertising = True


Act = Callable[[Played], Awaitable[None]]
FAULTS: dict[str, tuple[Act, Act]] = {
    "oximeter lost in mid-use": (_leave, _come_back),
    "Bluetooth service restarted": (_kill, _restart),
    "adapter pulled": (_pull, _plug),
    "Bluetooth service frozen": (_freeze, _thaw),
}
"""How each is brought about, and how it is mended."""
