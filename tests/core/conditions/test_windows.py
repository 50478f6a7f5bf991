"""Means over fixed windows of Watch time: falls, rises, jumps."""

import pytest

from core.watching import Bench, plan, rule
from linetender.core import plan as plans
from linetender.core.conditions.condition import Verdict
from linetender.core.inputs import Verb
from linetender.core.instants import SECOND_NS as S
from linetender.core.signals import Signal
from linetender.core.stages import Stage

SPO2 = Signal.SPO2_PERCENT
HOOD = Signal.HOOD_PRESSURE_PA
PERCENT = Signal.AIR_PERCENT_OF_BASELINE
FALLS = plans.Falls(SPO2, 4.0, 10 * S, 1.0)
JUMPS = plans.Jumps(PERCENT, 112.0, 104.0, 108.0, 5 * S)


def verdict(bench: Bench) -> Verdict:
    """Return what the only rule's condition thinks."""
    return bench.watch.wiring.alarms[0].condition.verdict


# One value a second, so that each is a window mean that the next one closes.
MEANS = [
    (FALLS, [98, 97, 96, 95, 94.1, 94.1], "absent"),
    (FALLS, [98, 97, 96, 95, 94.0, 94.0], "present"),
    (FALLS, [98] + [97] * 10 + [94, 94], "absent"),
    (FALLS, [98] + [97] * 9 + [94, 94], "present"),
    (FALLS, [98, 94, 95, 95], "absent"),
    (FALLS, [98, 94, 94.9, 94.9], "present"),
    (plans.Rises(SPO2, 4.0, 10 * S, 1.0), [90, 93.9, 93.9], "absent"),
    (plans.Rises(SPO2, 4.0, 10 * S, 1.0), [90, 94, 94], "present"),
    (plans.Rises(SPO2, 4.0, 10 * S, 1.0), [90, 94, 93, 93], "absent"),
]
DRIFT = plans.Drift(SPO2, h=6.0, k=0.5, sigma=2.0, reference=97.0)
HEADING = plans.Heading(SPO2, 90.0, plans.Side.DOWN, 20 * S, 12 * S, 0.5, 1.0)
SLOW = [97.0 - 0.25 * second for second in range(40)]
MEANS += [
    (DRIFT, [96] * 60, "absent"),  # half a sigma, all of which k takes off
    (DRIFT, [95] * 14, "present"),  # one sigma: half a unit a window, over 6 with the thirteenth
    (DRIFT, [95] * 13, "absent"),
    (DRIFT, [99] * 60, "absent"),  # the other side
    (DRIFT, [95] * 60 + [97] * 12, "present"),
    (DRIFT, [95] * 60 + [97] * 13, "absent"),  # from 6, half a unit a window, to 0
    (plans.Drift(SPO2, 6.0, 0.5, 2.0, None), [80] * 60, "unknown"),
    (HEADING, [97, 96.9] * 3, "unknown"),
    (HEADING, [97, 96.9] * 20, "absent"),
    (HEADING, SLOW[:7], "unknown"),
    (HEADING, SLOW[:20], "present"),
    (HEADING, [97] * 20 + [89] + [97] * 4, "absent"),
    (HEADING, [97] * 20 + [80, 80], "present"),
    (HEADING, SLOW[:20] + [92.5] * 20, "absent"),
    (HEADING, [89] * 20 + [90.5] * 20, "present"),
    (HEADING, [89] * 20 + [91.5] * 20, "absent"),
    (HEADING, [89, 89, 97, 97], "absent"),  # back before there is a slope
]


@pytest.mark.parametrize(("condition", "means", "expected"), MEANS)
def test_each_mean_moves_the_verdict(
    condition: plans.Condition, means: list[float], expected: str
) -> None:
    bench = Bench(plan(rule(condition)))
    for second, mean in enumerate(means):
        bench.good(float(second), SPO2, float(mean))
    assert verdict(bench).name.lower() == expected


def test_a_window_is_one_whole_second_of_watch_time_closed_by_the_next_reading() -> None:
    bench = Bench(plan(rule(plans.Falls(SPO2, 4.0, 10 * S))), started_s=0.4)
    bench.good(0.4, SPO2, 98.0)
    bench.good(0.9, SPO2, 96.0)
    assert verdict(bench) is Verdict.UNKNOWN
    bench.good(1.0, SPO2, 90.0)  # closes [0, 1) with 97
    assert verdict(bench) is Verdict.ABSENT
    bench.good(1.99, SPO2, 96.0)  # [1, 2) will have 93
    assert verdict(bench) is Verdict.ABSENT
    bench.advance(2.5)
    assert verdict(bench) is Verdict.ABSENT
    bench.good(2.7, SPO2, 97.0)
    assert bench.alarms() == [(2.7, "UNACKNOWLEDGED")]


def test_one_wild_sample_is_averaged_away() -> None:
    bench = Bench(plan(rule(FALLS)))
    bench.stream(0.0, 5.0, 0.1, spo2_percent=98.0)
    bench.good(5.0, SPO2, 70.0)
    bench.stream(5.1, 10.0, 0.1, spo2_percent=98.0)
    assert bench.alarms() == []


@pytest.mark.parametrize(
    ("good", "bad", "expected"), [(5, 5, "present"), (4, 6, "unknown"), (9, 1, "present")]
)
def test_a_window_under_half_good_is_unknown(good: int, bad: int, expected: str) -> None:
    bench = Bench(plan(rule(FALLS)))
    bench.stream(0.0, 1.0, 0.1, spo2_percent=98.0)
    bench.stream(1.0, 1.0 + good * 0.1, 0.1, spo2_percent=90.0)
    for turn in range(bad):
        bench.bad(1.0 + (good + turn) * 0.1, SPO2)
    bench.good(2.0, SPO2, 90.0)
    assert verdict(bench).name.lower() == expected


# The fan-side jump of rule 5, in percent of B = 100; windows are 0.2 s wide.
JUMP_MEANS = [
    ("a rise of 13 % at once", [100, 113, 113, 113], "present"),
    ("a rise of 12 % is not over 112", [100, 112, 112], "absent"),
    ("from over 104 it did not come from under 104", [104.01, 113, 113], "absent"),
    ("4.8 s from start to end", [103, *[108] * 23, 113, 113], "present"),
    ("5.2 s from start to end", [103, *[108] * 25, 113, 113], "absent"),
    ("stays while over 108", [100, 113, *[108.1] * 40], "present"),
    ("ends at 108", [100, 113, 108, 108], "absent"),
]


@pytest.mark.parametrize(
    ("means", "expected"), [case[1:] for case in JUMP_MEANS], ids=[case[0] for case in JUMP_MEANS]
)
def test_jumps(means: list[float], expected: str) -> None:
    bench = Bench(plan(rule(JUMPS), air=True))
    for turn, percent in enumerate(means):
        bench.good(turn * 0.2, HOOD, 60.0 * (percent / 100.0) ** 2)
    assert verdict(bench).name.lower() == expected


def test_a_new_baseline_ends_a_jump() -> None:
    """The pre-use check has looked at the line as it is now."""
    bench = Bench(plan(rule(JUMPS), air=True))
    bench.stream(0.0, 5.0, 0.2, hood_pressure_pa=60.0)
    bench.stream(5.0, 6.0, 0.2, hood_pressure_pa=80.0)
    assert verdict(bench) is Verdict.PRESENT
    bench.command(6.0, Verb.PRE_USE)
    bench.stream(6.0, 30.0, 0.2, hood_pressure_pa=80.0)
    assert verdict(bench) is Verdict.ABSENT


DOWN, UP = plans.Side.DOWN, plans.Side.UP
BEGUN_ANEW = [
    plans.Drift(PERCENT, h=6.0, k=0.5, sigma=2.0, reference=100.0),
    plans.Heading(PERCENT, 80.0, DOWN, 60 * S, 12 * S, 0.2, 5.0),
]


@pytest.mark.parametrize("condition", BEGUN_ANEW)
def test_a_new_baseline_ends_what_was_reckoned_from_another(condition: plans.Condition) -> None:
    bench = Bench(plan(rule(condition), air=True))
    bench.stream(0.0, 30.0, 0.1, hood_pressure_pa=30.0)  # 71 %
    assert verdict(bench) is Verdict.PRESENT
    leaf = bench.watch.wiring.leaves[0][0]
    leaf.baseline_set()
    assert verdict(bench) is Verdict.UNKNOWN
    bench.stream(30.0, 36.0, 0.1, hood_pressure_pa=60.0)
    bench.stream(36.0, 70.0, 0.1, hood_pressure_pa=60.0)
    assert verdict(bench) is Verdict.ABSENT


@pytest.mark.parametrize("side", [DOWN, UP])
def test_one_odd_mean_among_twelve_does_not_move_the_slope(side: plans.Side) -> None:
    limit = 90.0 if side is DOWN else 104.0
    bench = Bench(plan(rule(plans.Heading(SPO2, limit, side, 30 * S, 12 * S, 0.1))))
    for second in range(60):
        odd = 5.0 if second % 13 == 12 else 0.0
        bench.good(float(second), SPO2, 97.0 + (-odd if side is DOWN else odd))
    assert bench.raised() == []


def test_after_a_gap_what_was_foretold_holds_until_there_is_a_slope_again() -> None:
    bench = Bench(plan(rule(HEADING)))
    for second, percent in enumerate(SLOW[:20]):
        bench.good(float(second), SPO2, percent)
    assert verdict(bench) is Verdict.PRESENT
    for second in range(60, 65):
        bench.good(float(second), SPO2, 97.0)
    assert verdict(bench) is Verdict.UNKNOWN
    for second in range(65, 72):
        bench.good(float(second), SPO2, 97.0)
    assert verdict(bench) is Verdict.ABSENT


def test_a_fall_that_is_over_foretells_nothing() -> None:
    """Air that was gone for 20 s made a trend of it for as long again."""
    bench = Bench(plan(rule(plans.Heading(SPO2, 90.0, DOWN, 120 * S, 120 * S, 0.2, 1.0))))
    for second, percent in enumerate([97.0] * 45 + [60.0] * 20 + [97.0] * 15):
        bench.good(float(second), SPO2, percent)
    assert verdict(bench) is Verdict.ABSENT


@pytest.mark.parametrize("condition", BEGUN_ANEW)
def test_a_fan_that_ran_up_before_the_rule_applies_is_no_loss(condition: plans.Condition) -> None:
    bench = Bench(plan(rule(condition, stages=(Stage.WORN,)), air=True))
    bench.stream(0.0, 10.0, 0.1, hood_pressure_pa=10.0)
    bench.stream(10.0, 10.3, 0.1, hood_pressure_pa=60.0)
    assert verdict(bench) is Verdict.PRESENT
    bench.command(10.3, Verb.START)
    assert verdict(bench) is Verdict.UNKNOWN
    bench.stream(10.4, 60.0, 0.1, hood_pressure_pa=60.0)
    assert bench.raised() == []
