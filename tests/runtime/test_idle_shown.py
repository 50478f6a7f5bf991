"""The end of a use is shown once it is told, or two seconds later."""

import pytest

from linetender.core.events import Demand, Event, StageChanged
from linetender.core.snapshot import Snapshot
from linetender.core.stages import Stage
from linetender.runtime.idle_shown import IdleShown
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

S = 1_000_000_000


def snapshot(now_ns: int, stage: Stage) -> Snapshot:
    return Snapshot(now_ns, stage, 1, (), (), Demand(), True, None)


@pytest.mark.parametrize(
    ("told_s", "shown_s"),
    [(0.0, 5.0), (5.6, 6.0), (8.0, 7.0)],
    ids=["told at once", "told a little later", "not told in time"],
)
def test_idle_waits_for_the_broker_and_the_order_is_kept(told_s: float, shown_s: float) -> None:
    async def act() -> list[tuple[float, str]]:
        clock = VirtualClock()
        shown: list[tuple[float, str]] = []

        def show(events: tuple[Event, ...], seen: Snapshot) -> None:
            shown.append((clock.now_ns() / S, seen.stage.value))

        def is_told() -> bool:
            return clock.now_ns() >= round(told_s * S)

        one = IdleShown((show,), is_told, clock)
        for second in range(10):
            events: tuple[Event, ...] = ()
            if second == 5:
                events = (StageChanged(5 * S, Stage.WORN, Stage.IDLE, "wearer"),)
            stage = Stage.WORN if second < 5 else Stage.IDLE
            one.tell(events, snapshot(second * S, stage))
            await clock.sleep(1)
        return shown

    shown = run_virtual(act())
    assert [stage for _, stage in shown] == ["worn"] * 5 + ["idle"] * 5
    assert next(at for at, stage in shown if stage == "idle") == shown_s


def test_a_stage_that_begins_waits_for_nobody() -> None:
    clock = VirtualClock()
    shown: list[Stage] = []
    one = IdleShown((lambda _, seen: shown.append(seen.stage),), lambda: False, clock)
    begins = StageChanged(0, Stage.IDLE, Stage.WORN, "wearer")
    one.tell((begins,), snapshot(0, Stage.WORN))
    assert shown == [Stage.WORN]


def test_who_asked_for_the_end_hears_of_it_once_it_is_told() -> None:
    async def act() -> float:
        clock = VirtualClock()
        one = IdleShown((), lambda: clock.now_ns() >= S, clock)
        await one.until_shown(lambda: snapshot(0, Stage.IDLE))
        return clock.now_ns() / S

    assert run_virtual(act()) == pytest.approx(1.0, abs=0.06)
