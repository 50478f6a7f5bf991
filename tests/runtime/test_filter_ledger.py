"""The filter's hours are noted while the station runs: what counts, what is kept, and when."""

import asyncio
from datetime import UTC, datetime
from pathlib import Path

import pytest

from linetender.airline.filter_history import FilterPoint
from linetender.airline.filter_outlook import FilterCare
from linetender.annunciation.payloads import Wall
from linetender.core.events import Demand, StageChanged
from linetender.core.inputs import Quality
from linetender.core.instants import SECOND_NS
from linetender.core.plan import AirPlan
from linetender.core.signals import Signal
from linetender.core.snapshot import SignalView, Snapshot
from linetender.core.stages import Stage
from linetender.memory.filters import filters_in, fit_filter
from linetender.memory.store import open_store
from linetender.runtime.filter_ledger import FilterKeeper, FilterLedger

AT = "2031-03-03T09:00:00+00:00"
AT_S = datetime(2031, 3, 3, 9, 0, tzinfo=UTC).timestamp()
AIR = AirPlan(Signal.HOOD_PRESSURE_PA, 60.0, 0.5, zero_pa=2.0)


class Day:
    """A ledger, and the seconds that pass for it."""

    def __init__(self, air: AirPlan | None = AIR) -> None:
        self.kept: list[tuple[FilterPoint, bool]] = []
        self.ledger = FilterLedger(air, lambda: Wall(AT, True), self.keep)
        self.now_s = 0

    def keep(self, point: FilterPoint, is_over: bool) -> None:
        self.kept.append((point, is_over))

    def pass_s(self, seconds: int, pressure_pa: float | None, stage: Stage = Stage.WORN) -> None:
        for _ in range(seconds):
            self.now_s += 1
            self.ledger.tell((), snapshot(self.now_s, pressure_pa, stage))

    @property
    def runs_s(self) -> list[tuple[int, bool]]:
        return [(round(point.hours * 3600.0), over) for point, over in self.kept]


def snapshot(now_s: int, pressure_pa: float | None, stage: Stage) -> Snapshot:
    read = {Signal.HOOD_PRESSURE_PA: pressure_pa, Signal.FILTER_PRESSURE_PA: 40.0}
    views = tuple(
        SignalView(signal, value, None if value else "nack", Quality.GOOD, 0)
        for signal, value in read.items()
    )
    return Snapshot(now_s * SECOND_NS, stage, 0, views, (), Demand(), True, None)


def test_moving_air_counts_in_any_stage_and_is_kept_every_five_minutes() -> None:
    day = Day()
    day.pass_s(90, 62.0, Stage.IDLE)
    day.pass_s(600, 62.0)
    day.pass_s(70, 2.5)
    # The first call has nothing before it to count from.
    assert day.runs_s == [(60, False), (360, False), (660, False), (689, True)]
    point = day.kept[-1][0]
    assert (point.began_s, point.synchronised) == (AT_S, True)
    assert point.element_pa == pytest.approx(60.0)
    assert (point.filter_pa, point.fan_rpm) == (40.0, None)


def test_a_short_pause_or_a_reading_that_fails_ends_no_stretch() -> None:
    day = Day()
    day.pass_s(100, 62.0)
    day.pass_s(30, None)
    day.pass_s(100, 62.0)
    day.pass_s(61, None)
    assert day.runs_s[-1] == (199, True)


def test_a_puff_of_air_is_no_use() -> None:
    day = Day()
    day.pass_s(50, 62.0)
    day.pass_s(70, 2.0)
    day.ledger.close()
    assert day.kept == []


def test_the_end_of_a_use_and_of_the_run_keep_what_there_is() -> None:
    day = Day()
    day.pass_s(100, 62.0)
    event = StageChanged(100 * SECOND_NS, Stage.WORN, Stage.IDLE, "end")
    day.ledger.tell((event,), snapshot(100, 62.0, Stage.IDLE))
    assert day.runs_s == [(60, False), (99, False)]
    day.ledger.close()
    assert day.runs_s[-1] == (99, True)


def test_a_hose_that_is_stood_on_for_a_quarter_of_the_time_changes_no_figure() -> None:
    day = Day()
    day.pass_s(30 + 60 * 9, 62.0)
    day.pass_s(60 * 3, 22.0)
    day.pass_s(70, 2.0)
    assert day.kept[-1][0].element_pa == pytest.approx(60.0, rel=0.005)


def test_without_an_air_sensor_the_hours_worn_count() -> None:
    day = Day(air=None)
    day.pass_s(120, None)
    day.pass_s(70, None, Stage.IDLE)
    assert day.runs_s[-1] == (119, True)
    assert day.kept[-1][0].element_pa is None


def test_a_stretch_stays_with_the_filter_it_began_with(tmp_path: Path) -> None:
    keeper = FilterKeeper(tmp_path, FilterCare(good_for_days=30.0), 0.5, "", lambda: Wall(AT, True))
    begun = FilterPoint(AT_S, True, 0.1)
    keeper.keep(begun, False)
    keeper.close()
    with open_store(tmp_path) as store:
        (found,) = filters_in(store)
    assert (found.is_new, found.points) == (False, (begun,))
    keeper = FilterKeeper(tmp_path, FilterCare(good_for_days=30.0), 0.5, "", lambda: Wall(AT, True))
    with open_store(tmp_path) as store:
        fit_filter(store, AT_S + 3600.0, synchronised=True, is_new=True)
    later = FilterPoint(AT_S + 7200.0, True, 0.5)
    keeper.keep(later, False)
    keeper.keep(later, True)
    keeper.close()
    with open_store(tmp_path) as store:
        assert [each.points for each in filters_in(store)] == [(begun,), (later,)]
    assert keeper.due().startswith("2031-04-02")


def test_a_filter_that_was_changed_meanwhile_is_known_to_who_waits_for_it(tmp_path: Path) -> None:
    keeper = FilterKeeper(tmp_path, FilterCare(good_for_days=30.0), 0.5, "", lambda: Wall(AT, True))
    asyncio.run(keeper.until_looked())
    assert keeper.due() == ""
    with open_store(tmp_path) as store:
        fit_filter(store, AT_S, synchronised=True, is_new=True)
    asyncio.run(keeper.until_looked(30.0))
    assert keeper.due().startswith("2031-04-02")
    keeper.close()


def test_nobody_waits_for_ever_for_a_memory_that_cannot_be_read(tmp_path: Path) -> None:
    folder = tmp_path / "file"
    folder.touch()
    keeper = FilterKeeper(folder, FilterCare(), 0.5, AT, lambda: Wall(AT, True))
    asyncio.run(keeper.until_looked(0.05))
    assert keeper.due() == AT
    keeper.close()
