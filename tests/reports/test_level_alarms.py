"""The fast judgement of level rules against the core's own, reading by reading."""

from itertools import pairwise

import numpy as np
from hypothesis import example, given, settings
from hypothesis import strategies as st

from linetender.core.alarm_table import AlarmState
from linetender.core.drive import drive
from linetender.core.events import AlarmChanged, Event, StageChanged
from linetender.core.inputs import By, Command, Input, Reading, Verb
from linetender.core.instants import SECOND_NS
from linetender.core.plan import Arrangement, Below, Plan, RulePlan
from linetender.core.signals import SIGNAL_FACTS, Signal
from linetender.core.stages import Priority, Stage
from linetender.core.watch import Watch
from linetender.reports.level_alarms import (
    BAD,
    DOUBTFUL,
    GOOD,
    Applied,
    LevelSeries,
    crossings_below,
    raised_ns,
)

SIGNAL = Signal.SPO2_PERCENT
TENTH_NS = SECOND_NS // 10

STEPS = st.tuples(
    st.sampled_from([1, 1, 1, 2, 5, 10, 30, 49, 50, 51, 80, 200]),
    st.integers(86, 96),
    st.sampled_from([GOOD] * 6 + [DOUBTFUL] * 2 + [BAD]),
    st.sampled_from([None] * 6 + [Verb.START, Verb.END]),
)
"""Tenths of a second since the last reading, its value, its quality, and a command after it."""


def rule(deadband: float, on_tenths: int, off_tenths: int, *, killer: bool) -> RulePlan:
    return RulePlan(
        id="oxygen_low",
        condition=Below(SIGNAL, 90.0, deadband),
        priority=Priority.HIGH,
        on_delay_ns=on_tenths * TENTH_NS,
        off_delay_ns=off_tenths * TENTH_NS,
        stages=(Stage.WORN,),
        killer=killer,
        say="Oxygen is low.",
    )


def inputs_of(steps: list[tuple[int, int, int, Verb | None]]) -> list[Input]:
    now_ns = SECOND_NS
    made: list[Input] = [Command(SECOND_NS // 2, Verb.START, By.WEARER)]
    for tenths, value, quality, verb in steps:
        now_ns += tenths * TENTH_NS
        number = None if quality == BAD else float(value)
        reason = "off_finger" if quality == BAD else None
        doubt = "motion" if quality == DOUBTFUL else None
        made.append(Reading(now_ns, SIGNAL, number, reason, doubt))
        if verb is not None:
            made.append(Command(now_ns + TENTH_NS // 3, verb, By.WEARER))
    return made


def decided(plan: RulePlan, inputs: list[Input], until_ns: int) -> list[Event]:
    """Let the core decide with that rule alone."""
    station = Plan(
        station="bench",
        arrangement=Arrangement.WEARER_SIDE,
        air=None,
        signals=(SIGNAL,),
        contacts=(),
        rules=(plan,),
    )
    said: list[Event] = []
    drive(inputs, until_ns, Watch(station, 0), said.extend)
    return said


def core_raises(said: list[Event]) -> list[int]:
    """Return when the alarm was raised; one that is back as the hood goes on again was before."""
    return [
        event.due_ns
        for event in said
        if isinstance(event, AlarmChanged)
        and event.after is AlarmState.UNACKNOWLEDGED
        and event.why != "still present"
    ]


def worn_times(said: list[Event], until_ns: int) -> tuple[Applied, ...]:
    turns = [event for event in said if isinstance(event, StageChanged)]
    ends = [*(event.due_ns for event in turns[1:]), until_ns]
    return tuple(
        Applied(event.due_ns, end_ns)
        for event, end_ns in zip(turns, ends, strict=True)
        if event.after is Stage.WORN
    )


def series_of(inputs: list[Input], applied: tuple[Applied, ...], until_ns: int) -> LevelSeries:
    readings = [item for item in inputs if isinstance(item, Reading)]
    return LevelSeries(
        np.array([item.arrived_ns for item in readings], dtype=np.int64),
        np.array([item.value or 0.0 for item in readings], dtype=np.float64),
        np.array(
            [BAD if item.value is None else DOUBTFUL if item.doubt else GOOD for item in readings],
            dtype=np.uint8,
        ),
        SIGNAL_FACTS[SIGNAL].gap_ns,
        until_ns,
        applied,
    )


@settings(max_examples=400, deadline=None)
@given(
    steps=st.lists(STEPS, min_size=1, max_size=120),
    deadband=st.sampled_from([0.0, 1.0, 2.0]),
    on_tenths=st.sampled_from([0, 1, 3, 10, 50]),
    off_tenths=st.sampled_from([0, 1, 5, 30, 80]),
    killer=st.booleans(),
)
@example(
    # The hood goes on while a bad reading hides that the value is past its limit.
    steps=[(1, 87, GOOD, Verb.END), (5, 87, BAD, Verb.START), (30, 87, GOOD, None)],
    deadband=1.0,
    on_tenths=10,
    off_tenths=5,
    killer=True,
)
def test_raises_are_those_of_the_core(
    steps: list[tuple[int, int, int, Verb | None]],
    deadband: float,
    on_tenths: int,
    off_tenths: int,
    killer: bool,
) -> None:
    inputs = inputs_of(steps)
    until_ns = inputs[-1].arrived_ns + 7 * SECOND_NS
    plan = rule(deadband, on_tenths, off_tenths, killer=killer)
    said = decided(plan, inputs, until_ns)
    series = series_of(inputs, worn_times(said, until_ns), until_ns)
    crossings = crossings_below(series, 90.0, deadband)
    fast = raised_ns(series, crossings, plan.on_delay_ns, plan.off_delay_ns, killer=killer)
    assert fast == core_raises(said)


def test_a_session_of_noise_about_the_limit_raises_as_in_the_core() -> None:
    draw = np.random.default_rng(3)
    values = draw.normal(90.5, 1.0, 20_000).round(1)
    kinds = draw.choice([GOOD, DOUBTFUL, BAD], 20_000, p=[0.99, 0.006, 0.004])
    steps = [(1, float(v), int(k), None) for v, k in zip(values, kinds, strict=True)]
    inputs = inputs_of(steps)  # type: ignore[arg-type]
    until_ns = inputs[-1].arrived_ns + SECOND_NS
    counts = []
    for on_tenths in (0, 2, 5, 10):
        plan = rule(1.0, on_tenths, 5, killer=True)
        said = decided(plan, inputs, until_ns)
        series = series_of(inputs, worn_times(said, until_ns), until_ns)
        crossings = crossings_below(series, 90.0, 1.0)
        fast = raised_ns(series, crossings, plan.on_delay_ns, plan.off_delay_ns, killer=True)
        assert fast == core_raises(said)
        counts.append(len(fast))
    assert all(longer < shorter for shorter, longer in pairwise(counts))
