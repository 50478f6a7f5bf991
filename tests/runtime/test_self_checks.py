"""What the station notices about itself becomes Facts, once per change."""

from dataclasses import dataclass

from linetender.annunciation.payloads import Wall
from linetender.core.inputs import Fact
from linetender.runtime.inbox import Inbox
from linetender.runtime.self_checks import Checked, SelfChecks
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

S = 1_000_000_000


@dataclass
class Disk:
    fault: str | None = None


def test_a_disk_that_fails_and_comes_back() -> None:
    async def act() -> list[object]:
        clock = VirtualClock()
        inbox = Inbox(clock)
        recorder, keeper = Disk(), Disk("")
        checks = SelfChecks(Checked(recorder, keeper), inbox, clock)
        for faults in (("", ""), ("", "full"), ("", "full"), ("full", "read-only"), ("full", "")):
            recorder.fault, keeper.fault = faults
            checks.look()
            await clock.sleep(1)
        return inbox.take()

    assert run_virtual(act()) == [
        Fact(1 * S, "storage_failed", True, "state", "full"),
        Fact(3 * S, "storage_failed", True, "recording", "full"),
        Fact(3 * S, "storage_failed", True, "state", "read-only"),
        Fact(4 * S, "storage_failed", False, "state"),
    ]


def test_a_broker_away_for_half_a_minute_is_lost() -> None:
    async def act() -> list[object]:
        clock = VirtualClock()
        inbox = Inbox(clock)
        connected = {10: True, 20: False, 49: True, 50: False, 90: True}
        state = False
        checks = SelfChecks(Checked(broker_connected=lambda: state), inbox, clock)
        for second in range(100):
            state = connected.get(second, state)
            checks.look()
            await clock.sleep(1)
        return inbox.take()

    # Away from 20 to 49 s, too short; and from 50 s on.
    assert run_virtual(act()) == [
        Fact(79 * S, "broker_lost", True, "broker", "no connection to the broker"),
        Fact(90 * S, "broker_lost", False, "broker"),
    ]


def test_a_clock_that_the_network_sets_late() -> None:
    async def act() -> list[object]:
        clock = VirtualClock()
        inbox = Inbox(clock)
        checks = SelfChecks(
            Checked(wall=lambda: Wall("2000-01-01T00:00:00Z", clock.now_ns() >= 2 * S)),
            inbox,
            clock,
        )
        for _ in range(4):
            checks.look()
            await clock.sleep(1)
        return inbox.take()

    assert run_virtual(act()) == [
        Fact(0, "clock_unsynchronised", True, "clock", "the network has not set the clock yet"),
        Fact(2 * S, "clock_unsynchronised", False, "clock"),
    ]


def test_what_is_not_there_is_not_looked_at() -> None:
    async def act() -> list[object]:
        clock = VirtualClock()
        inbox = Inbox(clock)
        SelfChecks(Checked(), inbox, clock).look()
        return inbox.take()

    assert run_virtual(act()) == []


def test_what_the_access_list_refuses_is_told_and_hung_threads_are_looked_at() -> None:
    async def act() -> tuple[list[object], int]:
        clock = VirtualClock()
        inbox = Inbox(clock)
        refused, renewals = "", 0

        def renew_if_stuck() -> None:
            nonlocal renewals
            renewals += 1

        checked = Checked(forbidden=lambda: refused, renewals=(renew_if_stuck,))
        checks = SelfChecks(checked.of_station(None, None, None, None), inbox, clock)
        for refused_now in ("", "the list refuses it", "the list refuses it", ""):
            refused = refused_now
            checks.look()
            await clock.sleep(1)
        return inbox.take(), renewals

    facts, renewals = run_virtual(act())
    assert facts == [
        Fact(1 * S, "delivery_refused", True, "broker", "the list refuses it"),
        Fact(3 * S, "delivery_refused", False, "broker"),
    ]
    assert renewals == 4
