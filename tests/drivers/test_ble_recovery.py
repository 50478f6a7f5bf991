"""An oximeter in use comes back by itself from whatever happens to the radio.

The faults are those of field reports on BlueZ and of bleak's own behaviour, one each.
"""

import asyncio
from collections.abc import Awaitable, Callable
from unittest import mock

import pytest

from bluez.names import Refusal
from bluez.peripheral import Peripheral, oximeter
from bluez.room import HURRIED, Room, needs_dbus, play, until
from bluez.worn_oximeter import WornOximeter
from linetender_drivers.oximeter import plx

pytestmark = needs_dbus

SILENCE_S = 0.3

Act = Callable[[Room, WornOximeter], Awaitable[None]]


def clip(room: Room) -> Peripheral:
    return room.peripherals[0]


async def nothing(room: Room, worn: WornOximeter) -> None:
    """What needs no mending."""


async def drop(room: Room, worn: WornOximeter) -> None:
    room.bluez.drop(clip(room))


async def leave_range(room: Room, worn: WornOximeter) -> None:
    clip(room).is_advertising = False
    room.bluez.drop(clip(room))
    room.bluez.forget(clip(room))


async def return_to_range(room: Room, worn: WornOximeter) -> None:
    clip(room).is_advertising = True


async def fall_silent(room: Room, worn: WornOximeter) -> None:
    worn.is_talking = False


async def talk_again(room: Room, worn: WornOximeter) -> None:
    worn.is_talking = True


async def power_off(room: Room, worn: WornOximeter) -> None:
    room.bluez.power(False)


async def power_on(room: Room, worn: WornOximeter) -> None:
    room.bluez.power(True)


async def pull_adapter(room: Room, worn: WornOximeter) -> None:
    room.bluez.pull_adapter()


async def plug_adapter(room: Room, worn: WornOximeter) -> None:
    room.bluez.plug_adapter()


async def vanish(room: Room, worn: WornOximeter) -> None:
    room.bluez.vanish(clip(room))


async def kill_bluez(room: Room, worn: WornOximeter) -> None:
    await room.bluez.stop()


async def restart_bluez(room: Room, worn: WornOximeter) -> None:
    await room.restart_bluez()


async def hang_bluez(room: Room, worn: WornOximeter) -> None:
    room.bluez.is_mute, worn.is_talking = True, False


async def wake_bluez(room: Room, worn: WornOximeter) -> None:
    room.bluez.is_mute, worn.is_talking = False, True


async def freeze_bluez(room: Room, worn: WornOximeter) -> None:
    room.bluez.freeze()
    worn.is_talking = False


async def thaw_bluez(room: Room, worn: WornOximeter) -> None:
    room.bluez.thaw()
    worn.is_talking = True


async def refuse_connections(room: Room, worn: WornOximeter) -> None:
    clip(room).connect_refusals = [
        Refusal("Failed", "Software caused connection abort"),
        Refusal("InProgress", "Operation already in progress"),
        Refusal("Failed", "le-connection-timeout"),
        Refusal("Failed", "le-connection-abort-by-local"),
    ]
    room.bluez.drop(clip(room))


async def drop_in_discovery(room: Room, worn: WornOximeter) -> None:
    clip(room).drops_in_discovery = 2
    room.bluez.drop(clip(room))


async def never_connect(room: Room, worn: WornOximeter) -> None:
    clip(room).never_connects = True
    room.bluez.drop(clip(room))


async def connect_again(room: Room, worn: WornOximeter) -> None:
    clip(room).never_connects = False


async def never_resolve(room: Room, worn: WornOximeter) -> None:
    clip(room).never_resolves = True
    room.bluez.drop(clip(room))


async def resolve_again(room: Room, worn: WornOximeter) -> None:
    clip(room).never_resolves = False


async def pretend(room: Room, worn: WornOximeter) -> None:
    clip(room).is_advertising = False
    room.bluez.drop(clip(room))
    room.bluez.pretend_connected(clip(room))


async def kill_bus(room: Room, worn: WornOximeter) -> None:
    await room.bluez.stop()
    room.bus.kill()


async def restart_bus(room: Room, worn: WornOximeter) -> None:
    room.bus.restart()
    await room.restart_bluez()


# What is done, what is told of it at last, and what mends it.
FAULTS: dict[str, tuple[Act, str, Act]] = {
    "the link drops": (drop, "link was lost", nothing),
    "out of range, and forgotten": (leave_range, "not heard by radio", return_to_range),
    "the link is up and silent": (fall_silent, "sent nothing for", talk_again),
    "the adapter is switched off and on": (power_off, "adapter is off", power_on),
    "the adapter is pulled and plugged": (pull_adapter, "no Bluetooth adapter", plug_adapter),
    "the device vanishes without a word": (vanish, "sent nothing for", nothing),
    "the service is killed and restarted": (kill_bluez, "service is not there", restart_bluez),
    "the service never answers what it was asked": (hang_bluez, "no answer by radio", wake_bluez),
    "the service stands still for a while": (freeze_bluez, "no answer by radio", thaw_bluez),
    "connecting is refused in four ways": (refuse_connections, "le-connection-timeout", nothing),
    "the link drops in service discovery": (
        drop_in_discovery,
        "failed to discover services",
        nothing,
    ),
    "connecting is never answered": (never_connect, "no answer by radio", connect_again),
    "services are never found": (never_resolve, "no answer by radio", resolve_again),
    "a link on paper only": (pretend, "Not connected", return_to_range),
    "the D-Bus daemon is killed": (kill_bus, "service is not there", restart_bus),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_it_comes_back_and_no_value_is_given_twice(fault: str) -> None:
    harm, told, mend = FAULTS[fault]

    async def scene(room: Room) -> tuple[list[int], float]:
        loop = asyncio.get_running_loop()
        async with WornOximeter(room, clip(room)) as worn:
            await until(lambda: len(worn.got) >= 3, "the first values come")
            known = len(worn.failures)
            await harm(room, worn)
            await until(
                lambda: any(told in str(error) for error in worn.failures[known:]),
                f"{told!r} is told",
            )
            await mend(room, worn)
            mended_s, sent = loop.time(), worn.sent
            await until(lambda: worn.got[-1] > sent, "it has come back")
            took_s = loop.time() - mended_s
        assert not clip(room).is_connected, "a link is left"
        return worn.got, took_s

    with mock.patch.object(plx, "SILENCE_S", SILENCE_S):
        got, took_s = play(scene, oximeter(), limits=HURRIED)
    print(f"{fault}: back {took_s:.2f} s after its cause had gone")  # noqa: T201
    assert got == sorted(set(got))
