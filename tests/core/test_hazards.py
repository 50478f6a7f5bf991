"""The hazards this tool exists for, with the shipped default rules on whole stations."""

from collections.abc import Callable
from math import pi, sin

import pytest

from core.worn_stations import Line, calibrated
from linetender.core.events import AlarmChanged
from linetender.core.inputs import ContactState
from linetender.core.instants import to_seconds
from linetender.core.plan import Plan
from linetender.core.stages import Priority

BREATHS_HZ = 0.4
ARRANGEMENTS = ("fan_side", "wearer_side")


def breathing(part: float) -> Callable[[float], float]:
    """Return the ripple that breathing makes on a flow (part of it, 24 breaths a minute)."""
    return lambda t_s: 1.0 + part * sin(2.0 * pi * BREATHS_HZ * t_s)


def worn(plan: Plan, flow_l_min: float) -> Line:
    """Return a line in use at a flow; nothing has sounded so far."""
    line = Line(plan)
    line.wear(flow_l_min)
    assert line.bench.raised() == []
    return line


def play(line: Line, flow_at: Callable[[float], float], seconds: float) -> None:
    """Feed a flow (L/min) as a function of the time since now (s)."""
    began_s = line.now_s
    while line.now_s < began_s + seconds:
        line.flow(flow_at(line.now_s - began_s))


def first_raise_s(line: Line, rule_id: str) -> float | None:
    """Return when a rule sounded first (s), or None."""
    return next((at_s for at_s, after in line.bench.alarms(rule_id)), None)


def priorities(line: Line, rule_id: str) -> set[Priority]:
    """Return the priorities a rule was told with."""
    return {
        event.priority
        for event in line.bench.said
        if isinstance(event, AlarmChanged) and event.rule == rule_id
    }


# Loss of power at 500 L/min with 170 required. A fan without power coasts as 1/(1 + t/τ).


@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
@pytest.mark.parametrize("tau_s", [2.0, 2.5, 3.0, 3.5, 4.0])
def test_loss_of_power_is_told_from_a_high_working_flow(arrangement: str, tau_s: float) -> None:
    line = worn(calibrated(arrangement), 500.0)
    began_s = line.now_s
    line.bench.contact(line.now_s, "fan_mains", ContactState.OPEN)
    assert first_raise_s(line, "fan_mains_lost") == began_s, "rule 1 at once"
    ripple = breathing(0.03)
    play(line, lambda t_s: 500.0 / (1.0 + t_s / tau_s) * ripple(t_s), 12.0)
    crossed_s = began_s + tau_s * (1.0 / 0.65 - 1.0)
    raised_s = first_raise_s(line, "air_lost")
    assert raised_s is not None
    assert raised_s <= crossed_s + 4.0
    assert priorities(line, "air_lost") == {Priority.HIGH}
    # 50 % of the required minimum, the limit that would come far too late.
    assert raised_s < began_s + tau_s * (500.0 / 85.0 - 1.0)


def test_without_the_mains_contact_the_flow_alone_tells_it() -> None:
    line = worn(calibrated("wearer_side"), 500.0)
    began_s = line.now_s
    play(line, lambda t_s: 500.0 / (1.0 + t_s / 3.0), 12.0)
    assert line.bench.raised()[0] == "air_lost"
    (raised_s, *_) = [at_s for at_s, _ in line.bench.alarms("air_lost")]
    assert 2.0 < raised_s - began_s < 4.0 + 3.0 * (1.0 / 0.65 - 1.0)


@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
def test_a_half_crushed_duct_alarms(arrangement: str) -> None:
    """300 L/min are still more than the 170 required: only the own normal tells it."""
    line = worn(calibrated(arrangement), 800.0)
    began_s = line.now_s
    play(line, lambda t_s: 300.0, 10.0)
    raised_s = first_raise_s(line, "air_lost")
    assert raised_s is not None
    assert raised_s <= began_s + 4.0


def test_a_duct_torn_off_downstream_of_the_element_is_high() -> None:
    """Beside the fan it reads 13 % more, and no air arrives."""
    line = worn(calibrated("fan_side"), 500.0)
    began_s = line.now_s
    ripple = breathing(0.003)
    play(line, lambda t_s: 565.0 * ripple(t_s), 10.0)
    raised_s = first_raise_s(line, "air_jump")
    assert raised_s is not None
    assert raised_s <= began_s + 4.0
    assert priorities(line, "air_jump") == {Priority.HIGH}


def test_a_duct_that_stays_off_does_not_become_the_new_normal() -> None:
    line = worn(calibrated("fan_side"), 500.0)
    play(line, lambda t_s: 565.0, 300.0)
    assert line.bench.state("air_jump") == "UNACKNOWLEDGED"


def test_at_the_wearers_end_the_same_duct_reads_low() -> None:
    line = worn(calibrated("wearer_side"), 500.0)
    play(line, lambda t_s: 20.0, 5.0)
    assert line.bench.raised() == ["air_lost"]


NO_ALARM = [
    ("breathing", breathing(0.08)),
    ("a hose stepped on for 1 s", lambda t_s: 0.1 if 5.0 <= t_s < 6.0 else 1.0),
    (
        "stepped on every 10 s while breathing",
        lambda t_s: 0.1 if t_s % 10.0 < 1.0 else breathing(0.05)(t_s),
    ),
    ("a lean on the hose for 8 s", lambda t_s: 0.7 if 5.0 <= t_s < 13.0 else 1.0),
    ("a filter loading slowly", lambda t_s: 1.0 - 0.05 * t_s / 120.0),
]


@pytest.mark.parametrize(
    "flow", [case[1] for case in NO_ALARM], ids=[case[0].replace(" ", "-") for case in NO_ALARM]
)
@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
def test_what_belongs_to_work_does_not_alarm(
    arrangement: str, flow: Callable[[float], float]
) -> None:
    line = worn(calibrated(arrangement), 500.0)
    play(line, lambda t_s: 500.0 * flow(t_s), 120.0)
    assert line.bench.raised() == []


def test_hard_breathing_at_the_wearers_end_does_not_alarm() -> None:
    """Metres of duct damp such a breath before it reaches an element beside the fan."""
    line = worn(calibrated("wearer_side"), 500.0)
    ripple = breathing(0.15)
    play(line, lambda t_s: 500.0 * ripple(t_s), 120.0)
    assert line.bench.raised() == []


@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
def test_a_filter_that_loads_in_minutes_is_a_look_before_air_is_low(arrangement: str) -> None:
    line = worn(calibrated(arrangement), 500.0)
    play(line, lambda t_s: 500.0 * (1.0 - 0.15 * t_s / 120.0), 120.0)
    assert line.bench.raised() == ["air_heading"]


def test_a_slow_loss_rises_from_look_to_leave() -> None:
    """Less than required, over 65 % of the session's own flow: MEDIUM, then HIGH after 30 s."""
    line = worn(calibrated("wearer_side", normal_pa=21), 230.0)
    play(line, lambda t_s: 180.0, 60.0)
    told = [
        (event.after.name, event.priority)
        for event in line.bench.said
        if isinstance(event, AlarmChanged) and event.rule == "air_low"
    ]
    assert told == [
        ("UNACKNOWLEDGED", Priority.MEDIUM),
        ("UNACKNOWLEDGED", Priority.HIGH),
    ]


def test_a_torn_wire_is_a_look_and_then_a_leave() -> None:
    line = worn(calibrated("wearer_side"), 500.0)
    began_s = line.now_s
    line.bench.bad(began_s, line.air.signal, "no_answer")
    line.bench.advance(began_s + 60.0)
    said = [
        (event.rule, round(to_seconds(event.due_ns) - began_s), event.priority)
        for event in line.bench.said
        if isinstance(event, AlarmChanged)
    ]
    assert said == [("air_invalid", 3, Priority.MEDIUM), ("blind", 10, Priority.HIGH)]
