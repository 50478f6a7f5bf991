"""Switches, facts, a button held, and several conditions in one."""

import itertools

import pytest

from core.watching import Bench, plan, rule
from linetender.core import plan as plans
from linetender.core.conditions.all_of import AllOfCondition
from linetender.core.conditions.any_of import AnyOfCondition
from linetender.core.conditions.condition import Condition, Verdict
from linetender.core.inputs import ContactState, Verb
from linetender.core.instants import SECOND_NS as S
from linetender.core.signals import Signal

OPEN, CLOSED, BROKEN = ContactState.OPEN, ContactState.CLOSED, ContactState.BROKEN
P, A, U = Verdict.PRESENT, Verdict.ABSENT, Verdict.UNKNOWN


@pytest.mark.parametrize(
    ("when", "state", "verdict"),
    [
        ("open", OPEN, P),
        ("open", CLOSED, A),
        ("open", BROKEN, U),
        ("closed", CLOSED, P),
        ("closed", OPEN, A),
        ("broken", BROKEN, P),
        ("broken", OPEN, A),
        ("broken", CLOSED, A),
    ],
)
def test_contact(when: str, state: ContactState, verdict: Verdict) -> None:
    bench = Bench(plan(rule(plans.OnContact("fan_mains", when))))
    condition = bench.watch.wiring.alarms[0].condition
    assert condition.verdict is U
    bench.contact(0.0, "fan_mains", state)
    assert condition.verdict is verdict


def test_a_broken_wire_does_not_clear_a_lost_supply() -> None:
    bench = Bench(plan(rule(plans.OnContact("fan_mains", "open"))))
    for second, state in enumerate((OPEN, BROKEN, OPEN, CLOSED)):
        bench.contact(float(second), "fan_mains", state)
    assert bench.alarms() == [(0.0, "UNACKNOWLEDGED"), (3.0, "RETURNED")]


# What happens to the button (second, state), and when help is called.
HELD = [
    ([(1, CLOSED), (2.9, OPEN)], None),
    ([(1, CLOSED), (3.1, OPEN)], 3.0),
    ([(1, CLOSED), (2, CLOSED), (2.9, CLOSED)], 3.0),
    ([(1, CLOSED), (2, OPEN), (2.1, CLOSED), (4.0, OPEN)], None),
    ([(1, CLOSED), (2, BROKEN)], None),
    ([(1, BROKEN)], None),
    ([(1, BROKEN), (2, CLOSED)], 4.0),
]


@pytest.mark.parametrize(("edges", "at_s"), HELD)
def test_held(edges: list[tuple[float, ContactState]], at_s: float | None) -> None:
    bench = Bench(plan(rule(plans.Held("answer", 2 * S), latching=True)))
    for second, state in edges:
        bench.contact(second, "answer", state)
    bench.advance(60.0)
    assert bench.alarms() == ([] if at_s is None else [(at_s, "UNACKNOWLEDGED")])


def test_letting_go_does_not_end_a_call() -> None:
    bench = Bench(plan(rule(plans.Held("answer", 2 * S), latching=True)))
    bench.press(1.0, held_s=5.0)
    bench.advance(100.0)
    assert bench.state() == "UNACKNOWLEDGED"
    assert bench.watch.wiring.alarms[0].present


def test_a_reset_outside_use_ends_a_call_once_it_was_answered() -> None:
    bench = Bench(plan(rule(plans.Held("answer", 2 * S), latching=True)))
    bench.press(1.0, held_s=5.0)
    bench.press(10.0)
    assert bench.state() == "ACKNOWLEDGED"
    assert bench.command(11.0, Verb.RESET) is None
    assert bench.state() == "LATCHED_ACKNOWLEDGED"
    assert bench.command(12.0, Verb.RESET) is None
    assert bench.state() == "NORMAL"


@pytest.mark.parametrize(
    ("subject", "facts", "verdict"),
    [
        ("", [], U),
        ("", [("card", True)], P),
        ("", [("card", True), ("stick", True), ("card", False)], P),
        ("", [("card", True), ("card", True), ("card", False)], A),
        ("card", [("stick", True)], U),
        ("card", [("card", True), ("stick", False)], P),
        ("card", [("card", True), ("card", False)], A),
    ],
)
def test_fact(subject: str, facts: list[tuple[str, bool]], verdict: Verdict) -> None:
    bench = Bench(plan(rule(plans.OnFact("storage_failed", subject))))
    for second, (about, active) in enumerate(facts):
        bench.fact(float(second), "storage_failed", active, about)
    assert bench.watch.wiring.alarms[0].condition.verdict is verdict


def _expected_any(parts: tuple[Verdict, Verdict]) -> Verdict:
    if P in parts:
        return P
    return A if parts == (A, A) else U


def _expected_all(parts: tuple[Verdict, Verdict]) -> Verdict:
    if A in parts:
        return A
    return P if parts == (P, P) else U


@pytest.mark.parametrize("parts", list(itertools.product((P, A, U), repeat=2)))
def test_several(parts: tuple[Verdict, Verdict]) -> None:
    made = []
    for verdict in parts:
        part = Condition()
        part.verdict = verdict
        made.append(part)
    for combined, expected in (
        (AnyOfCondition(tuple(made)), _expected_any(parts)),
        (AllOfCondition(tuple(made)), _expected_all(parts)),
    ):
        combined.refresh()
        assert combined.verdict is expected


def test_several_signals_in_one_alarm() -> None:
    slow_and_low = plans.AllOf(
        (
            plans.Below(Signal.SPO2_PERCENT, 90.0),
            plans.AnyOf(
                (
                    plans.Below(Signal.PULSE_RATE_BPM, 50.0),
                    plans.Above(Signal.PULSE_RATE_BPM, 140.0),
                )
            ),
        )
    )
    bench = Bench(plan(rule(slow_and_low), signals=(Signal.SPO2_PERCENT, Signal.PULSE_RATE_BPM)))
    bench.good(0.0, Signal.SPO2_PERCENT, 85.0)
    bench.good(1.0, Signal.PULSE_RATE_BPM, 70.0)
    bench.good(2.0, Signal.PULSE_RATE_BPM, 150.0)
    bench.good(3.0, Signal.SPO2_PERCENT, 95.0)
    assert bench.alarms() == [(2.0, "UNACKNOWLEDGED"), (3.0, "RETURNED")]
