"""A device fails in every way there is, and is kept going; nothing is made up."""

import asyncio
from collections.abc import Sequence

import pytest

from linetender.core.inputs import Contact, ContactState, Fact, Input, Reading
from linetender.core.signals import Signal
from linetender.runtime.inbox import Inbox
from linetender.runtime.progress import MARGIN_NS, Progress
from linetender.runtime.supervisor import (
    BY_RADIO,
    CHANGE_WITHIN_S,
    LONGEST_BACKOFF_S,
    WIRED,
    Bounds,
    Supervisor,
)
from linetender_drivers.buses.ble_bounded import CANCEL_S, CANCELLATIONS
from linetender_drivers.buses.ble_limits import RadioLimits
from linetender_drivers.errors import (
    BadFrame,
    DeviceNotFound,
    DeviceTimeout,
    DriverConfigError,
    DriverError,
    FailureReason,
)
from linetender_drivers.measurements import ContactChange, Measurement
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual
from runtime.fake_devices import FOR_EVER, Act, ScriptedSensor, ScriptedSwitch, demo_device

S = 1_000_000_000
GOOD = (Measurement("hood_pressure_pa", 60.0),)
NACK = DriverError("air", "no", FailureReason.NACK)


def lost(at_s: float, reason: str) -> Reading:
    return Reading(round(at_s * S), Signal.HOOD_PRESSURE_PA, reason=reason, source="air")


def good(at_s: float) -> Reading:
    return Reading(round(at_s * S), Signal.HOOD_PRESSURE_PA, 60.0, source="air")


def failed(at_s: float, active: bool, subject: str = "air") -> Fact:
    return Fact(round(at_s * S), "device_failed", active, subject)


def keep(
    seconds: float,
    reads: Sequence[Act],
    opens: Sequence[Act] = ((),),
    close: Act = (),
    bounds: Bounds = WIRED,
) -> tuple[list[Input], ScriptedSensor, Progress]:
    """Look after a scripted sensor for a time; return what it gave and what was done to it."""

    async def watch() -> tuple[list[Input], ScriptedSensor, Progress]:
        clock = VirtualClock()
        inbox, progress = Inbox(clock), Progress()
        sensor = ScriptedSensor(clock, reads, opens, close)
        supervisor = Supervisor(demo_device("air"), inbox, clock, progress, bounds=bounds)
        task = asyncio.create_task(supervisor.keep_sensor(sensor))
        await clock.sleep(seconds)
        inputs = inbox.take()
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task
        return inputs, sensor, progress

    return run_virtual(watch())


FAILURES: list[tuple[BaseException, str]] = [
    *[(DriverError("air", "no", reason), reason.value) for reason in FailureReason],
    (DeviceNotFound("air", "gone"), "not_found"),
    (DeviceTimeout("air", "late"), "timeout"),
    (BadFrame("air", "bad CRC", b"\x00", FailureReason.BAD_CRC), "bad_crc"),
    (DriverConfigError("air", "no such line"), "config"),
    (TimeoutError(), "timeout"),
    (ZeroDivisionError("a mistake in a driver"), "driver_fault"),
    (OSError(5, "of no driver's making"), "driver_fault"),
    (asyncio.CancelledError(), "driver_fault"),
]


@pytest.mark.parametrize(("failure", "reason"), FAILURES, ids=lambda one: str(one) or repr(one))
def test_a_failed_read_is_a_reason_and_never_a_number(failure: BaseException, reason: str) -> None:
    inputs, sensor, _ = keep(1.1, [GOOD, failure])
    assert inputs == [good(0.5), lost(1.0, reason)]
    assert sensor.calls == [(0.0, "open"), (0.5, "read"), (1.0, "read"), (1.1, "close")]


def test_two_failures_are_ridden_over_and_the_third_opens_it_anew() -> None:
    inputs, sensor, _ = keep(5, [GOOD, NACK, NACK, GOOD, NACK, NACK, NACK, GOOD])
    assert inputs == [
        good(0.5),
        lost(1.0, "nack"),
        lost(1.5, "nack"),
        good(2.0),
        lost(2.5, "nack"),
        lost(3.0, "nack"),
        lost(3.5, "nack"),
        failed(3.5, True),
        good(4.25),
        failed(4.25, False),
        good(4.75),
    ]
    opened = [call for call in sensor.calls if call[1] != "read"]
    assert opened == [(0.0, "open"), (3.5, "close"), (3.75, "open"), (5.0, "close")]


def test_it_backs_off_and_never_gives_up() -> None:
    inputs, sensor, progress = keep(30, [GOOD], opens=[NACK])
    opened = [at_s for at_s, call in sensor.calls if call == "open"]
    assert opened == [0.0, 0.25, 0.75, 1.75, 3.75, 7.75, 12.75, 17.75, 22.75, 27.75]
    assert opened[-1] - opened[-2] == LONGEST_BACKOFF_S
    expected: list[Input] = [lost(at_s, "nack") for at_s in opened]
    expected.insert(1, failed(0.0, True))
    assert inputs == expected
    assert progress.stalled(30 * S) == ()  # absent, but looked after


def test_a_good_read_ends_the_backing_off() -> None:
    inputs, sensor, _ = keep(11, [GOOD, GOOD, NACK, NACK, NACK, GOOD], opens=[NACK] * 4 + [()])
    assert good(4.25) in inputs
    opened = [at_s for at_s, call in sensor.calls if call == "open"]
    assert opened == [0.0, 0.25, 0.75, 1.75, 3.75, 6.5]  # 0.25 s after the failure of 6.25 s


def test_a_read_that_never_returns_is_a_timeout() -> None:
    inputs, _, _ = keep(9, [GOOD, FOR_EVER, FOR_EVER, FOR_EVER, GOOD])
    assert inputs == [
        good(0.5),
        *[lost(at_s, "timeout") for at_s in (2.5, 4.5, 6.5)],
        failed(6.5, True),
        good(7.25),
        failed(7.25, False),
        *[good(at_s) for at_s in (7.75, 8.25, 8.75)],
    ]


def test_an_opening_that_never_returns_is_a_timeout() -> None:
    inputs, _, _ = keep(WIRED.open_s + 1, [GOOD], opens=[FOR_EVER, ()])
    assert inputs == [
        lost(WIRED.open_s, "timeout"),
        failed(WIRED.open_s, True),
        good(WIRED.open_s + 0.75),
        failed(WIRED.open_s + 0.75, False),
    ]


def test_what_is_no_measurement_is_a_fault_of_the_driver() -> None:
    inputs, _, _ = keep(1.1, [(Measurement("hood_pressure_pa"),), (Measurement("nonsense", 1.0),)])
    assert inputs == [lost(0.5, "driver_fault"), lost(1.0, "driver_fault")]


@pytest.mark.parametrize("close", [FOR_EVER, ZeroDivisionError("a mistake in a driver")])
def test_a_close_that_hangs_or_fails_holds_nothing_up(close: Act) -> None:
    waits_s = WIRED.close_s if close == FOR_EVER else 0.0
    inputs, _, _ = keep(10, [NACK, NACK, NACK, GOOD], close=close)
    back_s = 1.5 + waits_s + 0.25 + 0.5
    assert inputs[:5] == [
        *[lost(at_s, "nack") for at_s in (0.5, 1.0, 1.5)],
        failed(1.5 + waits_s, True),
        good(back_s),
    ]


def test_each_kind_of_device_has_its_own_patience() -> None:
    for bounds in (WIRED, BY_RADIO):
        inputs, _, _ = keep(50, [NACK] * 3, opens=[FOR_EVER, ()], close=FOR_EVER, bounds=bounds)
        opened_s = bounds.open_s + 0.25
        assert inputs[:6] == [
            lost(bounds.open_s, "timeout"),
            failed(bounds.open_s, True),
            *[lost(opened_s + at_s, "nack") for at_s in (0.5, 1.0, 1.5)],
            lost(opened_s + 1.5 + bounds.close_s + 0.5 + 0.5, "nack"),
        ]


def test_a_radio_link_has_time_to_end() -> None:
    limits = RadioLimits()
    needed_s = limits.disconnect_s + CANCELLATIONS * CANCEL_S
    assert WIRED.close_s < needed_s < BY_RADIO.close_s
    opening_s = limits.call_s + limits.scan_s + limits.call_s + limits.connect_s + limits.call_s
    assert opening_s + limits.call_s + limits.disconnect_s < BY_RADIO.open_s


def test_a_break_in_the_promise_is_seen() -> None:
    async def hang() -> tuple[str, ...]:
        clock = VirtualClock()
        progress = Progress()
        sensor = ScriptedSensor(clock, [FOR_EVER])
        supervisor = Supervisor(demo_device("air"), Inbox(clock), clock, progress)
        task = asyncio.create_task(supervisor.keep_sensor(sensor))
        await clock.sleep(0)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        due_ns = round(WIRED.close_s * S) + MARGIN_NS
        assert progress.stalled(due_ns) == ()
        return progress.stalled(due_ns + 1)

    assert run_virtual(hang()) == ("air",)


def test_a_switch_that_cannot_be_read_counts_as_broken() -> None:
    async def watch() -> list[Input]:
        clock = VirtualClock()
        inbox = Inbox(clock)
        acts: list[Act] = [(ContactChange("answer", "open"),), NACK, NACK, NACK]
        switch = ScriptedSwitch(clock, [*acts, (ContactChange("answer", "open"),)])
        supervisor = Supervisor(demo_device("answer"), inbox, clock, Progress())
        task = asyncio.create_task(supervisor.keep_input(switch))
        await clock.sleep(2.8)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        return inbox.take()

    assert run_virtual(watch()) == [
        Contact(S // 2, "answer", ContactState.OPEN, "answer"),
        failed(2.0, True, "answer"),
        Contact(2 * S, "answer", ContactState.BROKEN, "answer"),
        Contact(2_750_000_000, "answer", ContactState.OPEN, "answer"),
        failed(2.75, False, "answer"),
    ]


def test_a_switch_that_falls_silent_counts_as_broken() -> None:
    async def watch() -> list[Input]:
        clock = VirtualClock()
        inbox = Inbox(clock)
        switch = ScriptedSwitch(clock, [FOR_EVER])
        supervisor = Supervisor(demo_device("answer"), inbox, clock, Progress())
        task = asyncio.create_task(supervisor.keep_input(switch, is_open=True))
        await clock.sleep(3 * CHANGE_WITHIN_S + 1.0)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        return inbox.take()

    assert run_virtual(watch()) == [
        failed(15, True, "answer"),
        Contact(15 * S, "answer", ContactState.BROKEN, "answer"),
    ]
