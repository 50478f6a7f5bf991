"""What practitioners say of a wearer's oximeter and of lost air. Common practice, no source.

A healthy wearer's oximeter shows 95 to 97 % at rest, 96 to 99 % under a hood with
air flowing, and as low as 93 % under a hood without air. When air stops: out at once.
So 95 to 99 % must never alarm, 93 % must, and lost air is always the highest.
"""

import random

import pytest
from hypothesis import given
from hypothesis import settings as drawing
from hypothesis import strategies as st

from core.worn_stations import EXAMPLES, Line, example
from linetender.core.events import AlarmChanged, Sound
from linetender.core.signals import Signal
from linetender.core.stages import Priority

SPO2 = Signal.SPO2_PERCENT


def worn(name: str, *, usual_percent: float = 97.0, part: float = 1.0) -> Line:
    """Return an example station in use, its wearer's usual reading given."""
    line = Line(example(name))
    line.wear(part * line.normal(), spo2_percent=usual_percent)
    return line


@pytest.mark.parametrize("usual", [95.0, 96.0, 97.0, 98.0, 99.0])
@pytest.mark.parametrize("now", [95.0, 96.0, 97.0, 98.0, 99.0])
def test_95_to_99_percent_never_alarms(usual: float, now: float) -> None:
    line = worn("demo.toml", usual_percent=usual)
    for _ in range(25 * 120):
        line.flow(line.normal(), spo2_percent=now)
    assert line.bench.raised() == []


def test_wandering_between_95_and_99_percent_never_alarms() -> None:
    draw = random.Random(95)
    line = worn("demo.toml", usual_percent=99.0)
    for _ in range(25 * 600):
        line.flow(line.normal(), spo2_percent=float(draw.randint(95, 99)))
    assert line.bench.raised() == []


@pytest.mark.parametrize("usual", [95.0, 96.0, 97.0, 98.0, 99.0])
def test_93_percent_raises_the_falling_oxygen_alarm(usual: float) -> None:
    line = worn("demo.toml", usual_percent=usual)
    began_s = line.now_s
    for _ in range(25 * 30):
        line.flow(line.normal(), spo2_percent=93.0)
    assert line.bench.raised() == ["spo2_falling"]
    ((at_s, _),) = line.bench.alarms("spo2_falling")
    assert at_s == pytest.approx(began_s + 20.0, abs=1.1)
    assert line.bench.demand.sound is Sound.MEDIUM


@pytest.mark.parametrize("name", EXAMPLES)
@drawing(max_examples=15)
@given(part=st.floats(0.95, 1.12), left=st.floats(0.0, 0.6), fall_s=st.floats(0.0, 20.0))
def test_loss_of_air_is_always_the_highest(
    name: str, part: float, left: float, fall_s: float
) -> None:
    """From any working flow, to any rest of it, at once or within 20 s.

    Over 1.13 of the normal flow the pressure at the hood is past 125 % of the taught one,
    which is a LOOK of its own.
    """
    line = worn(name, part=part)
    assert line.bench.raised() == []
    began_s, flow = line.now_s, part * line.normal()
    while line.now_s < began_s + fall_s + 4.0:
        fallen = min((line.now_s - began_s) / fall_s, 1.0) if fall_s > 0.0 else 1.0
        line.confirm()
        line.flow(flow * (1.0 - (1.0 - left) * fallen))
    assert line.bench.demand.sound is Sound.HIGH
    assert line.bench.demand.rule == "air_lost"
    told = {
        event.priority
        for event in line.bench.said
        if isinstance(event, AlarmChanged) and event.rule == "air_lost"
    }
    assert told == {Priority.HIGH}
