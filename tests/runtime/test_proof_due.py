"""The date of the proof test in the pre-use check: what was done since the start counts."""

import pytest
from msgspec import structs

from linetender.annunciation.payloads import Wall
from linetender.core.events import StepState
from linetender.core.fact_names import FactName
from linetender.core.inputs import Fact
from linetender.core.snapshot import CheckView, Snapshot, StepView
from linetender.core.step_plan import StepKind, StepPlan
from linetender.core.watch import Watch
from linetender.runtime.inbox import Inbox
from linetender.runtime.pre_use_work import PreUseWork
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual
from runtime.demo_sessions import demo_station

STEP = StepPlan("proof", StepKind.PROOF, 1, due="2026-03-01T10:00:00+00:00")


def waiting() -> Snapshot:
    view = StepView("proof", StepKind.PROOF, StepState.WAITING, "", 0.0, 1.0, None)
    snapshot = Watch(demo_station().plan, 0).snapshot()
    return structs.replace(snapshot, check=CheckView(steps=(view,)))


@pytest.mark.parametrize(
    ("now", "proven_until", "fault"),
    [
        ("2026-02-28T10:00:00+00:00", "", ""),
        ("2026-03-02T10:00:00+00:00", "", "it was good until 2026-03-01"),
        ("2026-03-02T10:00:00+00:00", "2026-05-31T10:00:00+00:00", ""),
        (
            "2026-02-28T10:00:00+00:00",
            "2026-02-27T10:00:00+00:00",
            "it was good until 2026-02-27",
        ),
    ],
)
def test_the_date_is_compared(now: str, proven_until: str, fault: str) -> None:
    async def look() -> list[object]:
        clock = VirtualClock()
        inbox = Inbox(clock)
        wall = Wall(now, True)
        work = PreUseWork((STEP,), inbox, clock, lambda: wall, None, proof_due=lambda: proven_until)
        work.look(waiting())
        return inbox.take()

    assert run_virtual(look()) == [Fact(0, FactName.PRE_USE_STEP, not fault, "proof", fault)]
