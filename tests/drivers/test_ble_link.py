"""The real radio link on a real D-Bus, with the Bluetooth service emulated."""

import asyncio

import pytest

from bluez.names import Refusal
from bluez.peripheral import (
    BATTERY_LEVEL,
    CONTINUOUS,
    FEATURES,
    MODEL,
    SPOT_CHECK,
    Peripheral,
    oximeter,
    thermometer,
)
from bluez.room import Room, needs_dbus, open_files, play, until
from linetender_drivers.buses.ble import WAITING_AT_MOST, BleLink
from linetender_drivers.errors import DeviceNotFound, DriverError, FailureReason

pytestmark = needs_dbus


def only(room: Room) -> Peripheral:
    (peripheral,) = room.peripherals
    return peripheral


def test_scan_connect_subscribe_read_and_leave_nothing() -> None:
    async def scene(room: Room) -> list[bytes]:
        link = room.link()
        await link.open()
        # Equal values in a row are measurements in their own right.
        sent = [b"\x00", b"\x01", b"\x01", b"\x02"]
        for value in sent:
            assert room.bluez.notify(only(room), CONTINUOUS, value)
        got = [await link.next() for _ in sent]
        assert only(room).is_connected
        await link.close()
        await link.close()
        assert not only(room).is_connected
        with pytest.raises(DriverError) as closed:
            await link.next()
        assert closed.value.reason is FailureReason.CLOSED
        assert room.bluez.calls == [
            "GetManagedObjects",
            "SetDiscoveryFilter",
            "StartDiscovery",
            "StopDiscovery",
            "SetDiscoveryFilter",
            "Connect",
            "StartNotify",
            "Disconnect",
        ]
        return got

    assert play(scene, oximeter()) == [b"\x00", b"\x01", b"\x01", b"\x02"]


def test_2000_notifications_come_in_order() -> None:
    wanted = [number.to_bytes(2, "little") for number in range(2000)]

    async def scene(room: Room) -> list[bytes]:
        link, got = room.link(), []
        await link.open()
        for start in range(0, len(wanted), WAITING_AT_MOST):
            block = wanted[start : start + WAITING_AT_MOST]
            for value in block:
                room.bluez.notify(only(room), CONTINUOUS, value)
            got += [await link.next() for _ in block]
        await link.close()
        return got

    assert play(scene, oximeter()) == wanted


def test_a_reader_that_is_behind_gets_the_newest() -> None:
    async def scene(room: Room) -> list[int]:
        link = room.link()
        await link.open()
        for number in range(100):
            room.bluez.notify(only(room), CONTINUOUS, bytes([number]))
        await until(lambda: link._waiting.qsize() == WAITING_AT_MOST, "they have come")
        # A read answered after them shows that all of them have been taken in.
        assert await link.value(BATTERY_LEVEL) == b"\x57"
        got = [(await link.next())[0] for _ in range(WAITING_AT_MOST)]
        await link.close()
        return got

    assert play(scene, oximeter()) == list(range(100 - WAITING_AT_MOST, 100))


def test_50_drops_and_reconnections_leave_no_handle_and_no_task() -> None:
    async def scene(room: Room) -> list[tuple[int, int]]:
        async def once(number: int) -> tuple[int, int]:
            link = room.link()
            await link.open()
            room.bluez.notify(only(room), CONTINUOUS, bytes([number]))
            assert await link.next() == bytes([number])
            room.bluez.drop(only(room))
            with pytest.raises(DeviceNotFound, match="link was lost"):
                await link.next()
            await link.close()
            await until(lambda: len(asyncio.all_tasks()) <= 3, "bleak's tasks have ended")
            return open_files(), len(asyncio.all_tasks())

        return [await once(number) for number in range(50)]

    counts = play(scene, oximeter())
    assert set(counts) == {counts[0]}


def test_what_came_before_a_drop_is_read_first() -> None:
    async def scene(room: Room) -> list[bytes]:
        link = room.link()
        await link.open()
        for value in (b"\x01", b"\x02"):
            room.bluez.notify(only(room), CONTINUOUS, value)
        room.bluez.drop(only(room))
        got = [await link.next(), await link.next()]
        for _ in range(2):  # and the loss is told to whoever asks again
            with pytest.raises(DeviceNotFound, match="link was lost"):
                await link.next()
        await link.close()
        return got

    assert play(scene, oximeter()) == [b"\x01", b"\x02"]


def test_reading_values_beside_the_notifications_adds_none() -> None:
    async def scene(room: Room) -> tuple[list[bytes | None], bytes]:
        link = room.link()
        with pytest.raises(DriverError, match="not open"):
            await link.value(MODEL)
        await link.open()
        values = [await link.value(each) for each in (BATTERY_LEVEL, MODEL, FEATURES, "2a37")]
        room.bluez.notify(only(room), CONTINUOUS, b"\x05")
        following = await link.next()
        await link.close()
        return values, following

    features = bytes.fromhex("4300e0ffffff00")
    assert play(scene, oximeter()) == ([b"\x57", b"CLIP-1\0", features, None], b"\x05")


@pytest.mark.parametrize(
    ("refusal", "kind", "reason"),
    [
        (Refusal("Failed", "Operation failed with ATT error: 0x0e"), DriverError, "bus_error"),
        (Refusal("NotPermitted", "Read not permitted"), DriverError, "bus_error"),
        (Refusal("NotAuthorized", "no"), DriverError, "config"),
        (Refusal("Failed", "Operation failed with ATT error: 0x0f"), DriverError, "config"),
        (Refusal("Failed", "Not connected"), DriverError, "bus_error"),
    ],
)
def test_a_value_that_cannot_be_read_is_told(
    refusal: Refusal, kind: type[DriverError], reason: str
) -> None:
    async def scene(room: Room) -> str:
        link = room.link()
        await link.open()
        only(room).characteristic(BATTERY_LEVEL).read_refusal = refusal
        with pytest.raises(kind) as refused:
            await link.value(BATTERY_LEVEL)
        room.bluez.notify(only(room), CONTINUOUS, b"\x05")
        assert await link.next() == b"\x05"
        await link.close()
        return refused.value.reason.value

    assert play(scene, oximeter()) == reason


def test_a_value_after_a_drop_is_an_error() -> None:
    async def scene(room: Room) -> None:
        link = room.link()
        await link.open()
        room.bluez.drop(only(room))
        with pytest.raises(DeviceNotFound):
            await link.next()
        with pytest.raises(DriverError):
            await link.value(BATTERY_LEVEL)
        await link.close()

    play(scene, oximeter())


def test_indications_come_like_notifications() -> None:
    async def scene(room: Room) -> bytes:
        link = room.link(characteristic=SPOT_CHECK)
        await link.open()
        room.bluez.notify(only(room), SPOT_CHECK, b"\x07")
        got = await link.next()
        await link.close()
        return got

    assert play(scene, oximeter()) == b"\x07"


async def refused(link: BleLink) -> DriverError:
    with pytest.raises(DriverError) as error:
        await link.open()
    return error.value


def test_a_device_without_the_service_is_another_kind_of_device() -> None:
    async def scene(room: Room) -> DriverError:
        error = await refused(room.link())
        assert not only(room).is_connected
        return error

    error = play(scene, thermometer())
    assert error.reason is FailureReason.WRONG_DEVICE
    assert "C0:FF:EE:00:18:09: it has no characteristic" in str(error)


def test_a_device_that_wants_pairing_says_so() -> None:
    async def scene(room: Room) -> DriverError:
        attribute = only(room).characteristic(CONTINUOUS)
        attribute.notify_refusal = Refusal("Failed", "Operation failed with ATT error: 0x05")
        error = await refused(room.link())
        assert not only(room).is_connected
        return error

    error = play(scene, oximeter())
    assert error.reason is FailureReason.CONFIG
    assert "bluetoothctl pair C0:FF:EE:00:18:22" in str(error)
