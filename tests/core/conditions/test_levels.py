"""Limits, hysteresis and equality of the conditions that compare each value."""

import pytest

from core.watching import Bench, plan, rule
from linetender.core import plan as plans
from linetender.core.conditions.condition import Verdict
from linetender.core.inputs import Verb
from linetender.core.signals import Signal

SPO2 = Signal.SPO2_PERCENT
_LETTERS = {Verdict.PRESENT: "P", Verdict.ABSENT: "a", Verdict.UNKNOWN: "u"}

# Condition, then values with what it thinks of each: P present, a absent.
TABLE = [
    (plans.Below(SPO2, 90.0, 2.0), "92a 90a 89.9P 90P 91.9P 92a 90a 80P 95a"),
    (plans.Below(SPO2, 90.0), "90a 89.9P 90a 89.9P"),
    (plans.Above(SPO2, 90.0, 2.0), "80a 90a 90.1P 90P 88.1P 88a 90a 100P 50a"),
    (plans.Above(SPO2, 90.0), "90a 90.1P 90a"),
    (plans.Outside(SPO2, 40.5, 149.5, 5.0), "41a 40.5P 41P 45.4P 45.5a 149a 149.5P 144.6P 144.5a"),
    (plans.Outside(SPO2, 40.5, 149.5, 5.0), "40P 150P 144.5a"),
    (plans.Outside(SPO2, 40.0, 150.0), "40P 40.1a 150P 150P 149.9a"),
]
# The same after a baseline of 98 % (98 - 4 = 94, 98 + 1 = 99).
AFTER_98 = [
    (plans.BelowBaseline(SPO2, 4.0, 1.0), "94.1a 94P 94.9P 95a 94.1a 90P 98a"),
    (plans.BelowBaseline(SPO2, 4.0), "94P 94P 94.1a"),
    (plans.BelowBaseline(SPO2, 6.0, 1.0, 94.0, 95.0), "94a 93.9P 94.9P 95a 93P"),
    (plans.BelowBaseline(SPO2, 6.0, 1.0, 94.0, 99.0), "93.9a 92.1a 92P 92.9P 93a"),
    (plans.AboveBaseline(SPO2, 1.0, 0.5), "98.9a 99P 98.6P 98.5a 98.9a 100P"),
]


def verdicts(bench: Bench, values: str, from_s: float) -> str:
    """Feed values one a second; write each with the verdict that followed."""
    condition = bench.watch.wiring.alarms[0].condition
    said = []
    for turn, word in enumerate(values.split()):
        number = word.rstrip("Pau")
        bench.good(from_s + turn, SPO2, float(number))
        said.append(
            number + {"PRESENT": "P", "ABSENT": "a", "UNKNOWN": "u"}[condition.verdict.name]
        )
    return " ".join(said)


@pytest.mark.parametrize(("condition", "values"), TABLE)
def test_levels(condition: plans.Condition, values: str) -> None:
    assert verdicts(Bench(plan(rule(condition))), values, 0.0) == values


@pytest.mark.parametrize(("condition", "values"), AFTER_98)
def test_levels_against_a_baseline(condition: plans.Condition, values: str) -> None:
    bench = Bench(plan(rule(condition)))
    assert verdicts(bench, "80u 99u", 0.0) == "80u 99u"
    bench.command(2.0, Verb.START)
    bench.stream(2.0, 40.0, 1.0, spo2_percent=98.0)
    assert verdicts(bench, values, 40.0) == values


def test_without_the_baseline_it_is_unknown_again() -> None:
    bench = Bench(plan(rule(plans.BelowBaseline(SPO2, 4.0, 1.0))))
    bench.command(0.0, Verb.START)
    bench.stream(0.0, 40.0, 1.0, spo2_percent=98.0)
    bench.command(40.0, Verb.END)
    assert verdicts(bench, "80u", 41.0) == "80u"


@pytest.mark.parametrize(
    ("condition", "raises", "keeps"),
    [
        (plans.Below(SPO2, 90.0, 2.0), 89.0, 95.0),
        (plans.Above(SPO2, 90.0, 2.0), 91.0, 80.0),
        (plans.Outside(SPO2, 40.0, 90.0, 2.0), 95.0, 60.0),
    ],
)
def test_a_doubtful_value_may_raise_and_never_clears(
    condition: plans.Condition, raises: float, keeps: float
) -> None:
    bench = Bench(plan(rule(condition)))
    bench.good(0.0, SPO2, keeps)
    bench.good(1.0, SPO2, raises, doubt="low_perfusion")
    assert bench.alarms() == [(1.0, "UNACKNOWLEDGED")]
    bench.good(2.0, SPO2, keeps, doubt="low_perfusion")
    bench.bad(3.0, SPO2)
    assert bench.state() == "UNACKNOWLEDGED"
    bench.good(4.0, SPO2, keeps)
    assert bench.alarms()[1:] == [(4.0, "RETURNED")]


def test_the_guard_passes_values_that_change_nothing() -> None:
    """And a value at the limit itself is among them."""
    bench = Bench(plan(rule(plans.Below(SPO2, 90.0, 2.0))))
    bench.good(0.0, SPO2, 95.0)
    channel = bench.watch.channels[SPO2]
    assert (channel.low, channel.high) == (90.0, float("inf"))
    bench.good(1.0, SPO2, 89.0)
    assert channel.low == float("-inf")
    assert 91.999 < channel.high < 92.0
