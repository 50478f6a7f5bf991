"""What no plan can take from a rule that can kill, even one that the lint never saw."""

import pytest

from core.watching import Bench, plan, rule
from linetender.core.inputs import By, ContactState, Verb
from linetender.core.plan import OnContact, OnFact
from linetender.core.stages import Priority

MAINS_LOST = OnContact("fan_mains", "open")


@pytest.mark.parametrize("realarm_s", [0.0, 600.0], ids=["never", "after ten minutes"])
def test_an_answer_buys_fifteen_seconds_whatever_the_plan_says(realarm_s: float) -> None:
    deadly = rule(MAINS_LOST, id="deadly", priority=Priority.HIGH, killer=True, realarm_s=realarm_s)
    bench = Bench(plan(deadly))
    bench.contact(1.0, "fan_mains", ContactState.OPEN)
    bench.command(5.0, Verb.ACKNOWLEDGE, By.WEARER, shown=1)
    bench.advance(30.0)
    assert bench.alarms("deadly") == [
        (1.0, "UNACKNOWLEDGED"),
        (5.0, "ACKNOWLEDGED"),
        (20.0, "UNACKNOWLEDGED"),
    ]


def test_no_other_alarm_suppresses_it() -> None:
    louder = rule(OnFact("storage_failed"), id="louder", priority=Priority.HIGH)
    deadly = rule(
        MAINS_LOST, id="deadly", priority=Priority.HIGH, killer=True, suppressed_by=("louder",)
    )
    bench = Bench(plan(louder, deadly))
    bench.fact(1.0, "storage_failed", True)
    bench.contact(2.0, "fan_mains", ContactState.OPEN)
    assert bench.alarms("deadly") == [(2.0, "UNACKNOWLEDGED")]
