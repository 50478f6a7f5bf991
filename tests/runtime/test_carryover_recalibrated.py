"""A line that was taught or calibrated since: its old baseline must not be taken for a new one."""

from pathlib import Path

import msgspec
import pytest

from core.watching import plan, rule
from linetender.core.alarm_table import AlarmState
from linetender.core.events import AlarmChanged
from linetender.core.inputs import By, Command, Verb, reading
from linetender.core.plan import AirPlan, Below, Plan
from linetender.core.signals import Signal
from linetender.core.watch import Watch
from linetender.runtime.carryover_file import CarryoverKeeper, load_carryover

BOOT = "0123456789abcdef"
S = 1_000_000_000

TAUGHT = AirPlan(Signal.HOOD_PRESSURE_PA, 60.0, 0.5)
CALIBRATED = AirPlan(
    Signal.HOOD_PRESSURE_PA,
    60.0,
    0.5,
    k_l_min=32.0,
    relative_uncertainty=0.03,
    required_l_min=170.0,
)
LOST = rule(Below(Signal.AIR_PERCENT_OF_BASELINE, 65.0), id="air_lost", on_s=2)


def station(air: AirPlan) -> Plan:
    return msgspec.structs.replace(plan(LOST, air=True), air=air)


def kept_with_a_baseline(folder: Path, air: AirPlan) -> None:
    """Wear the hood in good air until a baseline is taken, and stop the daemon."""
    watch = Watch(station(air), 0)
    watch.feed(Command(0, Verb.START, By.WEARER))
    for second in range(1, 70):
        watch.feed(reading(second * S, Signal.HOOD_PRESSURE_PA, 60.0))
    assert watch.snapshot().air_baseline is not None
    keeper = CarryoverKeeper(folder, BOOT, air)
    keeper.keep(watch.carryover())
    keeper.close()


def restarted(folder: Path, air: AirPlan) -> Watch:
    carryover = load_carryover(folder, BOOT, station(air))
    assert carryover is not None
    return Watch(station(air), 0, carryover)


@pytest.mark.parametrize("air", [TAUGHT, CALIBRATED])
def test_on_the_same_line_the_baseline_stays(tmp_path: Path, air: AirPlan) -> None:
    kept_with_a_baseline(tmp_path, air)
    assert restarted(tmp_path, air).snapshot().air_baseline is not None


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (TAUGHT, CALIBRATED),
        (CALIBRATED, TAUGHT),
        (TAUGHT, msgspec.structs.replace(TAUGHT, normal_pa=85.0)),
        (CALIBRATED, msgspec.structs.replace(CALIBRATED, k_l_min=25.0)),
    ],
    ids=["calibrated since", "withdrawn since", "taught since", "calibrated anew"],
)
def test_on_a_line_that_changed_the_normal_counts(
    tmp_path: Path, before: AirPlan, after: AirPlan
) -> None:
    kept_with_a_baseline(tmp_path, before)
    watch = restarted(tmp_path, after)
    assert watch.snapshot().air_baseline is None
    # A quarter of the normal pressure is half of the flow: told after the delay, no later.
    said = [
        event
        for turn in range(0, 40)
        for event in watch.feed(
            reading(turn * S // 10, Signal.HOOD_PRESSURE_PA, after.normal_pa / 4.0)
        )
    ]
    raised = [event for event in said if isinstance(event, AlarmChanged)]
    assert [(event.rule, event.after) for event in raised] == [
        ("air_lost", AlarmState.UNACKNOWLEDGED)
    ]
    assert raised[0].due_ns == 2 * S
