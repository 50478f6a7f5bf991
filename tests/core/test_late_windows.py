"""Windows that nobody waits for are closed late: what is kept is the same to the last bit."""

import random
from collections.abc import Callable, Iterator

import msgspec
import pytest

from core.full_stations import NORMAL_PA, air_signal, default_plan
from linetender.core.drive import drive
from linetender.core.events import Event
from linetender.core.inputs import By, Command, Input, Verb, reading
from linetender.core.instants import SECOND_NS
from linetender.core.plan import Arrangement, Plan, Stale
from linetender.core.signals import Signal
from linetender.core.watch import Watch

EACH = 290
"""So many inputs lie between two comparisons of all that is kept: some 10 s."""

Mishap = Callable[[int], str]

MISHAPS: dict[str, Mishap] = {
    "nothing": lambda turn: "",
    "a gap of 4 s": lambda turn: "nothing" if 2500 <= turn < 2600 else "",
    "a gap of 2 s": lambda turn: "nothing" if 2500 <= turn < 2550 else "",
    "now and then a bad reading": lambda turn: "bad" if turn % 333 == 0 else "",
    "seconds of mostly bad readings": lambda turn: "bad" if turn % 250 in range(3, 20) else "",
    "a value that stands for 40 s": lambda turn: "same" if 2000 <= turn < 3000 else "",
    "air that is lost": lambda turn: "low" if turn >= 2800 else "",
}


def use(plan: Plan, mishap: Mishap, *, fan: bool) -> Iterator[Input]:
    """Yield 130 s of a worn hood: 25 Hz of pressure, oxygen, pulse and perhaps the fan's speed."""
    draw = random.Random(1)
    yield Command(0, Verb.START, By.WEARER)
    for turn in range(25 * 130):
        at_ns = (turn + 1) * SECOND_NS // 25
        value = NORMAL_PA * draw.gauss(1.0, 0.02)
        match mishap(turn):
            case "bad":
                yield reading(at_ns, air_signal(plan), None, "crc")
            case "low":
                yield reading(at_ns, air_signal(plan), 0.02 * value)
            case "same":
                yield reading(at_ns, air_signal(plan), NORMAL_PA)
            case "":
                yield reading(at_ns, air_signal(plan), value)
        if turn % 25 == 20:
            yield reading(at_ns, Signal.SPO2_PERCENT, draw.choice((96.0, 97.0)))
            yield reading(at_ns, Signal.PULSE_RATE_BPM, float(draw.randint(60, 90)))
            if fan:
                yield reading(at_ns, Signal.FAN_SPEED_RPM, 2500.0 + draw.randint(-20, 20))


@pytest.mark.parametrize("arrangement", Arrangement)
@pytest.mark.parametrize("fan", [False, True])
@pytest.mark.parametrize("mishap", MISHAPS.values(), ids=MISHAPS)
def test_late_windows_leave_what_those_closed_in_time_do(
    arrangement: Arrangement, fan: bool, mishap: Mishap
) -> None:
    whole = default_plan(arrangement)
    rules = tuple(rule for rule in whole.rules if not isinstance(rule.condition, Stale))
    for plan in (whole, msgspec.structs.replace(whole, rules=rules)):
        late, in_time = Watch(plan, 0), Watch(plan, 0)
        items = list(use(plan, mishap, fan=fan))
        for first in range(0, len(items), EACH):
            block = items[first : first + EACH]
            said: list[Event] = []
            drive(block, block[-1].arrived_ns, late, said.extend)
            said_in_time: list[Event] = []
            for item in block:
                said_in_time += in_time.feed(item)
                in_time.snapshot()  # Whoever looks takes what was put aside.
            assert said == said_in_time
            assert late.carryover() == in_time.carryover()


@pytest.mark.parametrize("arrangement", Arrangement)
def test_most_seconds_of_ordinary_use_are_looked_at_late(arrangement: Arrangement) -> None:
    plan = default_plan(arrangement)
    watch = Watch(plan, 0)
    looked_at = [
        item
        for item in watch.put_aside(use(plan, MISHAPS["nothing"], fan=False))
        if watch.take(item) is not None and item.arrived_ns > 70 * SECOND_NS
    ]
    assert len(looked_at) < 60 / 2
