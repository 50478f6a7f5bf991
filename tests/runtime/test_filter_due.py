"""The date of the filter in the pre-use check: one that was fitted since the start counts."""

from datetime import datetime
from pathlib import Path

import pytest
from msgspec import structs

from linetender.annunciation.payloads import Wall
from linetender.core.events import StepState
from linetender.core.fact_names import FactName
from linetender.core.inputs import Fact
from linetender.core.snapshot import CheckView, Snapshot, StepView
from linetender.core.step_plan import StepKind, StepPlan
from linetender.core.watch import Watch
from linetender.memory.filters import fit_filter
from linetender.memory.recall import remembered_in
from linetender.memory.store import open_store
from linetender.runtime.inbox import Inbox
from linetender.runtime.pre_use_work import PreUseWork
from linetender.settings.load import load_station
from linetender.settings.remembered import Remembered, remembered_of
from linetender.settings.shipped import shipped
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual
from runtime.demo_sessions import demo_station

STEP = StepPlan("filter", StepKind.FILTER, 1, due="2026-03-01T10:00:00+00:00")
NOW = Wall("2026-03-02T10:00:00+00:00", True)
PAST = "it was good until 2026-03-01"


def waiting() -> Snapshot:
    view = StepView("filter", StepKind.FILTER, StepState.WAITING, "", 0.0, 1.0, None)
    snapshot = Watch(demo_station().plan, 0).snapshot()
    return structs.replace(snapshot, check=CheckView(steps=(view,)))


@pytest.mark.parametrize(
    ("by_now", "fault"),
    [
        (None, PAST),
        ("2026-03-01T10:00:00+00:00", PAST),
        ("2026-06-01T10:00:00+00:00", ""),
        ("", ""),
    ],
    ids=["as-it-began", "the-same", "later", "new-one-without-a-date"],
)
def test_the_date_is_compared(by_now: str | None, fault: str) -> None:
    async def look() -> list[object]:
        clock = VirtualClock()
        inbox = Inbox(clock)
        due = None if by_now is None else (lambda: by_now)
        work = PreUseWork((STEP,), inbox, clock, lambda: NOW, None, filter_due=due)
        work.look(waiting())
        return inbox.take()

    assert run_virtual(look()) == [Fact(0, FactName.PRE_USE_STEP, not fault, "filter", fault)]


def test_what_the_memory_says_of_the_filter_becomes_a_step_and_comes_back_out_of_a_header(
    tmp_path: Path,
) -> None:
    now = datetime.fromisoformat(NOW.at)
    path = tmp_path / "station.toml"
    text = shipped("config/fan_side_orifice.toml").read_text(encoding="utf-8")
    path.write_text(text.replace("[filter]", "[filter]\ngood_for_days = 30", 1), encoding="utf-8")
    with open_store(tmp_path) as store:
        fit_filter(store, now.timestamp(), synchronised=True, is_new=True, label="H13")

    def dues(remembered: Remembered) -> list[str]:
        steps = load_station(path, recall=lambda _: remembered).plan.steps
        return [step.due for step in steps if step.kind is StepKind.FILTER]

    live = load_station(path, recall=lambda _: remembered_in(tmp_path, now))
    (due,) = dues(remembered_in(tmp_path, now))
    days = (datetime.fromisoformat(due) - now).total_seconds() / 86_400.0
    assert days == pytest.approx(30.0)
    assert dues(remembered_of(live.calibrations)) == [due]
    assert dues(Remembered()) == []
