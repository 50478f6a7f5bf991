"""No call of the Bluetooth library lasts for ever, and none leaves anything behind."""

import asyncio
from collections.abc import Callable

import pytest

from bluez.names import Refusal
from bluez.peripheral import BATTERY_LEVEL, CONTINUOUS, Peripheral, oximeter
from bluez.private_bus import PrivateBus
from bluez.room import HURRIED, Room, needs_dbus, open_files, play, until
from linetender_drivers.buses.ble import FAILURES_BEFORE_FORGETTING, BleLink
from linetender_drivers.buses.ble_bounded import CANCEL_S, CANCELLATIONS, bounded
from linetender_drivers.buses.ble_limits import RadioLimits
from linetender_drivers.errors import DeviceTimeout, DriverError, FailureReason

OPEN_WITHIN_S = 30.0
"""What the supervisor allows."""
ENDING_S = CANCELLATIONS * CANCEL_S
MARGIN_S = 4.0
"""For a busy machine."""


def longest_opening_s(limits: RadioLimits) -> float:
    """Return how long opening takes at most before it is given up.

    A scan (start, listening, stop), the question for connected devices, connecting and
    subscribing; of the last three only one can be slow to end, for it ends the opening.
    """
    finding_s = limits.call_s + limits.scan_s + 2 * limits.call_s
    return finding_s + limits.connect_s + 2 * limits.call_s + ENDING_S


def test_a_call_gives_its_result_or_its_error() -> None:
    async def three() -> int:
        return 3

    async def wrong() -> int:
        raise ValueError("wrong")

    async def scene() -> int:
        with pytest.raises(ValueError, match="wrong"):
            await bounded(wrong(), 1.0)
        return await bounded(three(), 1.0)

    assert asyncio.run(scene()) == 3


async def stubborn(swallows: int, seen: list[str]) -> None:
    """Wait for ever, and swallow some cancellations first."""
    for _ in range(swallows):
        try:
            await asyncio.Event().wait()
        except asyncio.CancelledError:
            seen.append("swallowed")
    try:
        await asyncio.Event().wait()
    finally:
        seen.append("ended")


@pytest.mark.parametrize(
    ("swallows", "seen"),
    [(0, ["ended"]), (1, ["swallowed", "ended"]), (2, ["swallowed", "swallowed"])],
)
def test_a_call_over_its_limit_is_cancelled_twice_and_then_left_behind(
    swallows: int, seen: list[str]
) -> None:
    async def scene() -> list[str]:
        got: list[str] = []
        with pytest.raises(TimeoutError, match=r"no answer within 0\.01 s"):
            await bounded(stubborn(swallows, got), 0.01)
        return list(got)

    assert asyncio.run(scene()) == seen


def test_a_call_ends_with_its_caller() -> None:
    async def scene() -> list[str]:
        seen: list[str] = []
        caller = asyncio.ensure_future(bounded(stubborn(1, seen), 60.0))
        await asyncio.sleep(0.01)
        caller.cancel()
        with pytest.raises(asyncio.CancelledError):
            await caller
        return seen

    assert asyncio.run(scene()) == ["swallowed", "ended"]


def clip(room: Room) -> Peripheral:
    return room.peripherals[0]


async def timed_out(link: BleLink) -> float:
    """Open a link in vain; return how long that took, s."""
    loop = asyncio.get_running_loop()
    started_s = loop.time()
    with pytest.raises(DeviceTimeout):
        await link.open()
    return loop.time() - started_s


def hang(room: Room) -> None:
    room.bluez.is_mute = True


def never_connect(room: Room) -> None:
    clip(room).never_connects = True


def never_resolve(room: Room) -> None:
    clip(room).never_resolves = True


@needs_dbus
@pytest.mark.parametrize("harm", [hang, never_connect, never_resolve])
def test_opening_ends_in_time_whatever_never_answers(harm: Callable[[Room], None]) -> None:
    async def scene(room: Room) -> float:
        harm(room)
        took_s = await timed_out(room.link())
        room.bluez.is_mute = False
        assert not clip(room).is_connected
        return took_s

    assert play(scene, oximeter(), limits=HURRIED) < longest_opening_s(HURRIED) + MARGIN_S


def test_opening_cannot_take_longer_than_a_supervisor_allows() -> None:
    assert longest_opening_s(RadioLimits()) < OPEN_WITHIN_S


@needs_dbus
def test_a_service_that_was_only_slow_does_not_scan_for_ever_afterwards() -> None:
    async def scene(room: Room) -> list[str]:
        room.bluez.on_call = lambda name: room.bluez.freeze() if name == "StartDiscovery" else None
        for _ in range(2):
            await timed_out(room.link())
        room.bluez.on_call = lambda _: None
        room.bluez.thaw()
        link = room.link()
        await link.open()  # at once: no scan of ours is "in progress"
        await link.close()
        return [call for call in room.bluez.calls if call.endswith("Discovery")]

    got = play(scene, oximeter(), limits=HURRIED)
    assert got == ["StartDiscovery", "StopDiscovery"] * 2


@needs_dbus
def test_reading_and_closing_end_in_time_when_the_service_hangs() -> None:
    async def scene(room: Room) -> float:
        link = room.link()
        await link.open()
        room.bluez.is_mute = True
        started_s = asyncio.get_running_loop().time()
        with pytest.raises(DeviceTimeout, match="no answer by radio"):
            await link.value(BATTERY_LEVEL)
        await link.close()
        return asyncio.get_running_loop().time() - started_s

    most_s = HURRIED.call_s + HURRIED.disconnect_s + 2 * ENDING_S
    assert play(scene, oximeter(), limits=HURRIED) < most_s + MARGIN_S


@needs_dbus
def test_a_value_asked_for_when_the_link_drops_is_an_error_in_time() -> None:
    async def scene(room: Room) -> None:
        link = room.link()
        await link.open()
        room.bluez.is_mute = True
        asking = asyncio.ensure_future(link.value(BATTERY_LEVEL))
        await until(lambda: room.bluez.calls[-1] == "ReadValue", "it was asked for")
        room.bluez.drop(clip(room))
        with pytest.raises(DriverError):
            await asking
        room.bluez.is_mute = False
        await link.close()

    play(scene, oximeter(), limits=HURRIED)


@needs_dbus
@pytest.mark.parametrize("moment", ["StartDiscovery", "Connect", "StartNotify"])
def test_opening_that_is_given_up_leaves_no_link(moment: str) -> None:
    async def scene(room: Room) -> bool:
        opening = asyncio.ensure_future(room.link().open())
        room.bluez.on_call = lambda name: opening.cancel() if name == moment else None
        with pytest.raises(asyncio.CancelledError):
            await opening
        room.bluez.on_call = lambda _: None
        await until(lambda: not clip(room).is_connected, "the link is down")
        again = room.link()
        await again.open()
        await again.close()
        return clip(room).is_connected

    assert play(scene, oximeter()) is False


@needs_dbus
def test_restarts_of_the_service_leave_no_handle() -> None:
    async def scene(room: Room) -> list[int]:
        async def once() -> int:
            link = await room.open_sooner_or_later()
            await room.bluez.stop()
            await link.close()
            await room.restart_bluez()
            await (await room.open_sooner_or_later()).close()
            await until(lambda: len(asyncio.all_tasks()) <= 3, "bleak's tasks have ended")
            return open_files()

        return [await once() for _ in range(5)]

    counts = play(scene, oximeter())
    assert max(counts) <= counts[0]


@needs_dbus
def test_too_many_connections_to_the_bus_are_told_and_pass() -> None:
    async def scene(room: Room) -> DriverError:
        first = room.link()
        await first.open()
        with pytest.raises(DriverError, match="too many") as error:
            await room.link(room.peripherals[1].address).open()
        await first.close()
        await (await room.open_sooner_or_later(room.peripherals[1].address)).close()
        return error.value

    # The emulated service, bleak's own connection and one link.
    error = play(scene, oximeter(), oximeter("C0:FF:EE:00:18:23"), bus=PrivateBus(connections=3))
    assert error.reason is FailureReason.BUS_ERROR


@needs_dbus
@pytest.mark.parametrize("is_paired", [False, True])
def test_a_device_that_keeps_failing_is_forgotten_unless_it_was_paired(is_paired: bool) -> None:
    failing = oximeter()
    failing.is_paired = is_paired
    failing.characteristic(CONTINUOUS).notify_refusal = Refusal("Failed", "whatever")

    async def scene(room: Room) -> list[bool]:
        removed = []
        for _ in range(FAILURES_BEFORE_FORGETTING):
            with pytest.raises(DriverError, match="whatever"):
                await room.link().open()
            removed.append("RemoveDevice" in room.bluez.calls)
        return removed

    expected = [False] * (FAILURES_BEFORE_FORGETTING - 1) + [not is_paired]
    assert play(scene, failing) == expected
