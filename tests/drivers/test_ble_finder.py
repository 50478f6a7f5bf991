"""Which device a link takes, and what it says where there is none or no radio."""

import asyncio
import re

import pytest

from bluez.names import Refusal
from bluez.peripheral import CONTINUOUS, PLX, Peripheral, oximeter, thermometer
from bluez.room import HURRIED, PATIENT, Room, needs_dbus, play, until
from linetender_drivers.buses.ble import BleLink
from linetender_drivers.buses.ble_finder import PeerFinder
from linetender_drivers.errors import (
    DeviceNotFound,
    DriverConfigError,
    DriverError,
    FailureReason,
)

pytestmark = needs_dbus

MINE, THEIRS = "C0:FF:EE:00:18:22", "C0:FF:EE:00:18:23"


def two_oximeters() -> tuple[Peripheral, Peripheral]:
    return oximeter(MINE, "mine"), oximeter(THEIRS, "theirs")


async def error_of(link: BleLink) -> DriverError:
    with pytest.raises(DriverError) as error:
        await link.open()
    return error.value


def test_an_address_picks_its_device_among_several() -> None:
    async def scene(room: Room) -> list[bool]:
        link = room.link(THEIRS)
        await link.open()
        connected = [each.is_connected for each in room.peripherals]
        await link.close()
        return connected

    assert play(scene, *two_oximeters()) == [False, True]


def test_only_takes_the_one_oximeter_and_no_other_kind_of_device() -> None:
    async def scene(room: Room) -> list[bool]:
        link = room.link("only")
        await link.open()
        connected = [each.is_connected for each in room.peripherals]
        await link.close()
        return connected

    assert play(scene, thermometer(), oximeter()) == [False, True]


def test_only_is_refused_when_two_are_in_range_with_both_named() -> None:
    async def scene(room: Room) -> DriverError:
        error = await error_of(room.link("only"))
        assert not any(each.is_connected for each in room.peripherals)
        return error

    error = play(scene, *two_oximeters())
    assert error.reason is FailureReason.AMBIGUOUS
    assert f"{MINE} (mine), {THEIRS} (theirs)" in str(error)


def test_only_counts_one_whose_link_was_left_open_too() -> None:
    async def scene(room: Room) -> DriverError:
        left = room.link(MINE)
        await left.open()
        error = await error_of(room.link("only"))
        await left.close()
        return error

    assert play(scene, *two_oximeters()).reason is FailureReason.AMBIGUOUS


def test_only_stays_with_the_one_it_chose_and_never_takes_a_neighbours() -> None:
    mine, theirs = two_oximeters()

    async def scene(room: Room) -> DriverError:
        theirs.is_advertising = False
        link = room.link("only")
        await link.open()
        room.bluez.drop(mine)
        await link.close()
        mine.is_advertising, theirs.is_advertising = False, True
        error = await error_of(room.link("only"))
        mine.is_advertising = True
        again = room.link("only")
        await again.open()
        assert (mine.is_connected, theirs.is_connected) == (True, False)
        await again.close()
        return error

    error = play(scene, mine, theirs)
    assert error.reason is FailureReason.NOT_FOUND
    assert f"{MINE}: the one chosen at the start is not heard" in str(error)


@pytest.mark.parametrize("peer", [MINE, "only"])
def test_nothing_in_range_is_not_found(peer: str) -> None:
    async def scene(room: Room) -> DriverError:
        return await error_of(room.link(peer))

    error = play(scene)
    assert (type(error), error.reason) == (DeviceNotFound, FailureReason.NOT_FOUND)


def test_a_link_left_open_is_taken_over_after_a_scan_without_connecting_anew() -> None:
    mine = oximeter(MINE)

    async def scene(room: Room) -> list[str]:
        left = room.link(MINE)
        await left.open()
        before = len(room.bluez.calls)
        taken = room.link(MINE)  # connected, so that no scan hears it
        await taken.open()
        calls = room.bluez.calls[before:]
        room.bluez.notify(mine, CONTINUOUS, b"\x09")
        assert await taken.next() == b"\x09"
        await taken.close()
        await left.close()
        return calls

    calls = play(scene, mine)
    assert "StartDiscovery" in calls
    assert "Connect" not in calls


def test_two_links_open_at_the_same_time_by_one_scan_after_the_other() -> None:
    async def scene(room: Room) -> list[bool]:
        links = [room.link(each.address) for each in room.peripherals]
        await asyncio.gather(*(link.open() for link in links))
        connected = [each.is_connected for each in room.peripherals]
        scans = [call for call in room.bluez.calls if call.endswith("Discovery")]
        assert scans == ["StartDiscovery", "StopDiscovery"] * 2
        for link in links:
            await link.close()
        return connected

    assert play(scene, *two_oximeters()) == [True, True]


def test_a_radio_that_is_off_is_waited_for() -> None:
    async def scene(room: Room) -> DriverError:
        room.bluez.power(False)
        error = await error_of(room.link())
        room.bluez.power(True)
        await (await room.open_sooner_or_later()).close()
        return error

    error = play(scene, oximeter())
    assert (type(error), error.reason) == (DeviceNotFound, FailureReason.ADAPTER_OFF)
    assert "bluetoothctl power on" in str(error)


def test_a_radio_switched_off_during_the_scan_is_no_find() -> None:
    async def scene(room: Room) -> FailureReason:
        opening = asyncio.ensure_future(error_of(room.link("only")))
        await until(lambda: "StartDiscovery" in room.bluez.calls, "the scan has begun")
        room.bluez.power(False)
        return (await opening).reason

    silent = oximeter()
    silent.is_advertising = False
    assert play(scene, silent) is FailureReason.ADAPTER_OFF


def test_a_radio_that_is_missing_is_waited_for() -> None:
    async def scene(room: Room) -> DriverError:
        room.bluez.pull_adapter()
        error = await error_of(room.link())
        room.bluez.plug_adapter()
        await (await room.open_sooner_or_later()).close()
        return error

    error = play(scene, oximeter())
    assert (type(error), error.reason) == (DeviceNotFound, FailureReason.NO_ADAPTER)
    assert "rfkill list" in str(error)


def test_a_bluetooth_service_that_is_not_running_is_waited_for() -> None:
    async def scene(room: Room) -> DriverError:
        await room.bluez.stop()
        error = await error_of(room.link())
        await room.restart_bluez()
        await (await room.open_sooner_or_later()).close()
        return error

    error = play(scene, oximeter())
    assert (type(error), error.reason) == (DeviceNotFound, FailureReason.NO_ADAPTER)
    assert "systemctl start bluetooth" in str(error)


@pytest.mark.parametrize("is_socket_there", [True, False])
def test_a_dead_bus_is_waited_for(is_socket_there: bool) -> None:
    async def scene(room: Room) -> DriverError:
        await room.bluez.stop()
        room.bus.kill()
        if not is_socket_there:
            room.bus.socket.unlink()
        error = await error_of(room.link())
        room.bus.restart()
        await room.restart_bluez()
        await (await room.open_sooner_or_later()).close()
        return error

    error = play(scene, oximeter())
    assert (type(error), error.reason) == (DeviceNotFound, FailureReason.NO_ADAPTER)


@pytest.mark.parametrize(
    ("refusal", "kind", "text"),
    [
        (
            Refusal("org.freedesktop.DBus.Error.AccessDenied", "Rejected send message"),
            DriverConfigError,
            r"usermod -aG bluetooth",
        ),
        (
            Refusal("InProgress", "Operation already in progress"),
            DriverError,
            r"busy with another program's request",
        ),
        (Refusal("NotReady", "Resource Not Ready"), DeviceNotFound, r"adapter is off"),
        (Refusal("Failed", "whatever"), DriverError, r"radio link failed: .*whatever"),
    ],
)
def test_a_scan_that_is_refused_says_why_and_the_next_one_works(
    refusal: Refusal, kind: type[DriverError], text: str
) -> None:
    async def scene(room: Room) -> DriverError:
        room.bluez.refusals["StartDiscovery"] = [refusal]
        error = await error_of(room.link())
        await (await room.open_sooner_or_later()).close()
        return error

    error = play(scene, oximeter())
    assert type(error) is kind
    assert re.search(text, str(error))


def test_offering_names_every_oximeter_in_range_and_no_other_kind_of_device() -> None:
    async def scene(room: Room) -> dict[str, str]:
        held = room.link(MINE)
        await held.open()  # connected, so that no scan hears it
        found = await PeerFinder(PATIENT).offering(PLX)
        assert [each.is_connected for each in room.peripherals] == [True, False, False]
        await held.close()
        return found

    mine, theirs = two_oximeters()
    assert play(scene, mine, theirs, thermometer()) == {MINE: "mine", THEIRS: "theirs"}


def test_offering_names_nobody_where_nobody_is() -> None:
    async def scene(room: Room) -> dict[str, str]:
        return await PeerFinder(PATIENT).offering(PLX)

    assert play(scene, thermometer()) == {}


def test_offering_without_a_radio_says_so() -> None:
    async def scene(room: Room) -> DriverError:
        await room.bluez.stop()
        with pytest.raises(DriverError) as error:
            await PeerFinder(HURRIED).offering(PLX)
        return error.value

    assert play(scene).reason is FailureReason.NO_ADAPTER
