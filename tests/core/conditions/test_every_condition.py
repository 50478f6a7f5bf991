"""The contract that every condition keeps, whatever it looks at."""

import inspect
import math
import pkgutil
from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module

import pytest
from hypothesis import given
from hypothesis import strategies as st

import linetender.core.conditions
from core.watching import Bench, plan, rule
from linetender.core import plan as plans
from linetender.core.conditions.baseline_level import BaselineLevelCondition
from linetender.core.conditions.combined import CombinedCondition
from linetender.core.conditions.condition import Condition, Verdict
from linetender.core.conditions.level import LevelCondition
from linetender.core.conditions.recent_means import RecentMeansCondition
from linetender.core.conditions.windowed import WindowedCondition
from linetender.core.inputs import ContactState, Verb
from linetender.core.instants import SECOND_NS
from linetender.core.signals import SIGNAL_FACTS, Signal

SPO2 = Signal.SPO2_PERCENT
PULSE = Signal.PULSE_RATE_BPM
S = SECOND_NS


@dataclass(frozen=True)
class Case:
    """A condition, and a scene (of Bench) that makes it present.

    Attributes:
        plan: The condition.
        scene: Feeds a bench until the condition is present.
        present_s: From this second on it is.
    """

    plan: plans.Condition
    scene: Callable[[Bench], None]
    present_s: float


def _level(value: float) -> Callable[[Bench], None]:
    def scene(bench: Bench) -> None:
        bench.stream(0.0, 40.0, 1.0, spo2_percent=97.0)
        bench.stream(40.0, 45.0, 1.0, spo2_percent=value)

    return scene


def _still(bench: Bench) -> None:
    bench.stream(0.0, 10.0, 1.0, spo2_percent=[97.0, 96.0])
    bench.stream(10.0, 45.0, 1.0, spo2_percent=96.123)


def _silent(bench: Bench) -> None:
    bench.stream(0.0, 30.0, 1.0, spo2_percent=97.0)
    bench.advance(45.0)


def _mains(bench: Bench) -> None:
    bench.contact(0.0, "fan_mains", ContactState.CLOSED)
    bench.contact(44.0, "fan_mains", ContactState.OPEN)


def _held(bench: Bench) -> None:
    bench.contact(40.0, "answer", ContactState.CLOSED)
    bench.advance(45.0)


def _fact(bench: Bench) -> None:
    bench.fact(44.0, "storage_failed", True, "card")


def _unconfirmed(bench: Bench) -> None:
    for second in range(0, 31, 2):
        bench.fact(float(second), "far_end_confirmed", True, "bench")
    bench.advance(45.0)


def _no_sign(bench: Bench) -> None:
    bench.advance(45.0)


CASES = {
    "below": Case(plans.Below(SPO2, 90.0, 2.0), _level(84.567), 45.0),
    "above": Case(plans.Above(SPO2, 98.0, 1.0), _level(99.123), 45.0),
    "outside": Case(plans.Outside(SPO2, 90.0, 99.0, 2.0), _level(84.567), 45.0),
    "below_baseline": Case(plans.BelowBaseline(SPO2, 4.0, 1.0), _level(84.567), 45.0),
    "above_baseline": Case(plans.AboveBaseline(SPO2, 2.0, 1.0), _level(99.123), 45.0),
    "falls": Case(plans.Falls(SPO2, 4.0, 30 * S, 1.0), _level(84.567), 45.0),
    "rises": Case(plans.Rises(SPO2, 2.0, 30 * S, 1.0), _level(99.123), 45.0),
    "jumps": Case(plans.Jumps(SPO2, 98.0, 97.5, 97.8, 5 * S), _level(99.123), 45.0),
    "drift": Case(plans.Drift(SPO2, h=10.0, k=0.5, reference=97.0), _level(84.567), 45.0),
    "heading": Case(
        plans.Heading(SPO2, 90.0, plans.Side.DOWN, 60 * S, 30 * S, 0.5, 1.0),
        _level(84.567),
        45.0,
    ),
    "stuck": Case(plans.Stuck(SPO2, 30 * S), _still, 45.0),
    "stale": Case(plans.Stale((SPO2,), 10 * S), _silent, 45.0),
    "contact": Case(plans.OnContact("fan_mains", "open"), _mains, 45.0),
    "held": Case(plans.Held("answer", 2 * S), _held, 45.0),
    "fact": Case(plans.OnFact("storage_failed"), _fact, 45.0),
    "fact_stale": Case(plans.FactStale("far_end_confirmed", "bench", 10 * S), _unconfirmed, 45.0),
    "check_in_missed": Case(plans.CheckInMissed(5 * S), _no_sign, 45.0),
    "any_of": Case(
        plans.AnyOf((plans.Below(SPO2, 90.0, 2.0), plans.Above(PULSE, 150.0))),
        _level(84.567),
        45.0,
    ),
    "all_of": Case(
        plans.AllOf((plans.Below(SPO2, 90.0, 2.0), plans.Below(SPO2, 91.0, 2.0))),
        _level(84.567),
        45.0,
    ),
}
EVERY = pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())


def bench_of(case: Case) -> Bench:
    """Return a worn station with the condition as its only rule."""
    station = plan(
        rule(case.plan),
        signals=(SPO2, PULSE),
        check_in=plans.CheckInPlan(30 * S, 10 * S),
    )
    bench = Bench(station)
    bench.command(0.0, Verb.START)
    return bench


def condition_of(bench: Bench) -> Condition:
    """Return the condition of the only rule."""
    condition = bench.watch.wiring.alarms[0].condition
    condition.refresh()
    return condition


def leaves_of(bench: Bench) -> list[Condition]:
    """Return its simple conditions."""
    return [leaf for leaf, _ in bench.watch.wiring.leaves]


def test_every_condition_class_is_among_the_cases() -> None:
    built = {type(condition_of(bench_of(case))) for case in CASES.values()}
    found = set()
    for module in pkgutil.iter_modules(linetender.core.conditions.__path__):
        loaded = import_module(f"linetender.core.conditions.{module.name}")
        for _, kind in inspect.getmembers(loaded, inspect.isclass):
            if issubclass(kind, Condition) and kind.__module__ == loaded.__name__:
                found.add(kind)
    assert found - built == {
        Condition,
        LevelCondition,
        BaselineLevelCondition,
        WindowedCondition,
        RecentMeansCondition,
        CombinedCondition,
    }


def test_every_condition_of_a_plan_is_among_the_cases() -> None:
    assert {type(case.plan) for case in CASES.values()} == set(plans.Condition.__args__)


@EVERY
def test_it_starts_unknown_or_absent(case: Case) -> None:
    assert condition_of(bench_of(case)).verdict is not Verdict.PRESENT


@EVERY
def test_its_scene_makes_it_present_and_raises_once(case: Case) -> None:
    bench = bench_of(case)
    case.scene(bench)
    assert condition_of(bench).verdict is Verdict.PRESENT
    assert bench.raised() == ["rule"]


@EVERY
def test_silence_does_not_make_it_absent(case: Case) -> None:
    bench = bench_of(case)
    case.scene(bench)
    bench.advance(case.present_s + 10_000.0)
    assert condition_of(bench).verdict is not Verdict.ABSENT
    assert bench.watch.wiring.alarms[0].present


@EVERY
def test_bad_readings_do_not_make_it_absent(case: Case) -> None:
    bench = bench_of(case)
    case.scene(bench)
    for second in range(100):
        for signal in (SPO2, PULSE):
            bench.bad(case.present_s + second, signal)
            assert condition_of(bench).verdict is not Verdict.ABSENT
    assert bench.watch.wiring.alarms[0].present


@EVERY
def test_doubtful_readings_do_not_make_it_absent(case: Case) -> None:
    bench = bench_of(case)
    case.scene(bench)
    for second in range(100):
        for signal, value in ((SPO2, 97.0), (PULSE, 70.0)):
            bench.good(case.present_s + second, signal, value, doubt="motion")
            assert condition_of(bench).verdict is not Verdict.ABSENT
    assert bench.watch.wiring.alarms[0].present


@EVERY
def test_only_good_news_has_no_deadline(case: Case) -> None:
    """Whatever a deadline does, it does not make the condition absent."""
    bench = bench_of(case)
    case.scene(bench)
    for leaf in leaves_of(bench):
        if leaf.due_ns() < 1 << 61:
            leaf.fall_due()
            assert leaf.verdict is not Verdict.ABSENT


@EVERY
def test_its_evidence_is_rounded_to_what_the_signal_resolves(case: Case) -> None:
    bench = bench_of(case)
    case.scene(bench)
    evidence = condition_of(bench).evidence()
    if evidence is not None:
        assert evidence == round(evidence, SIGNAL_FACTS[SPO2].decimals)


LEVELS = {
    name: case
    for name, case in CASES.items()
    if isinstance(condition_of(bench_of(case)), LevelCondition)
}
VALUES = st.floats(min_value=0.0, max_value=200.0) | st.sampled_from(
    [84.0, 90.0, 92.0, 93.0, 94.0, 97.0, 98.0, 99.0]
)


@pytest.mark.parametrize("case", LEVELS.values(), ids=LEVELS.keys())
@given(history=st.lists(VALUES, max_size=6), probe=st.floats(0.0, 1.0))
def test_no_value_within_its_quiet_interval_changes_its_mind(
    case: Case, history: list[float], probe: float
) -> None:
    bench = bench_of(case)
    bench.stream(0.0, 40.0, 1.0, spo2_percent=97.0)
    level = condition_of(bench)
    assert isinstance(level, LevelCondition)
    for value in history:
        level.see(value)
    before, (low, high) = level.verdict, level.quiet
    if low > high:
        return
    low, high = max(low, -1e6), min(high, 1e6)
    ends = (low, high, min(max(low + (high - low) * probe, low), high))
    for value in ends:
        level.see(value)
        assert level.verdict is before, value
        assert level.quiet == (
            -math.inf if low == -1e6 else low,
            math.inf if high == 1e6 else high,
        )
