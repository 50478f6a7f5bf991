"""Nothing comes, or always the same: stale, stuck, fact_stale, check_in_missed."""

import pytest

from core.watching import Bench, plan, rule
from linetender.core import plan as plans
from linetender.core.inputs import ContactState, Verb
from linetender.core.instants import SECOND_NS as S
from linetender.core.signals import Signal
from linetender.core.stages import Stage

SPO2 = Signal.SPO2_PERCENT
HOOD = Signal.HOOD_PRESSURE_PA
PULSE = Signal.PULSE_RATE_BPM
WORN = (Stage.WORN,)


def test_stale_counts_from_the_last_good_reading() -> None:
    bench = Bench(plan(rule(plans.Stale((SPO2,), 3 * S))))
    bench.good(1.0, SPO2, 97.0)
    bench.bad(2.0, SPO2)
    bench.good(3.0, SPO2, 97.0, doubt="motion")
    bench.advance(3.999)
    assert bench.alarms() == []
    bench.advance(4.0)
    assert bench.alarms() == [(4.0, "UNACKNOWLEDGED")]
    bench.bad(5.0, SPO2)
    bench.good(6.0, SPO2, 97.0)
    assert bench.alarms()[1:] == [(6.0, "RETURNED")]


def test_stale_counts_from_the_start_where_nothing_ever_came() -> None:
    bench = Bench(plan(rule(plans.Stale((SPO2,), 3 * S), stages=WORN)))
    bench.command(10.0, Verb.START)
    bench.advance(60.0)
    assert bench.alarms() == [(13.0, "UNACKNOWLEDGED")]


def test_stale_of_several_needs_all_of_them_silent() -> None:
    bench = Bench(plan(rule(plans.Stale((SPO2, PULSE), 10 * S)), signals=(SPO2, PULSE)))
    bench.stream(0.0, 30.0, 1.0, spo2_percent=97.0)
    for second in range(30, 45):
        bench.bad(float(second), SPO2)
        bench.good(second + 0.5, PULSE, 70.0)
    bench.advance(100.0)
    assert bench.alarms() == [(54.5, "UNACKNOWLEDGED")]


# Seconds after the end of a fall at which the readings end; whether that counts.
FOLLOWED = [(0.0, True), (59.0, True), (60.0, True), (61.0, False), (200.0, False)]


@pytest.mark.parametrize(("later_s", "follows"), FOLLOWED)
def test_stale_that_must_follow_a_fall(later_s: float, follows: bool) -> None:
    fall = rule(plans.Below(SPO2, 94.0), id="fall", on_s=20)
    lost = rule(plans.Stale((SPO2,), 30 * S, "fall", 60 * S), id="lost")
    bench = Bench(plan(lost, fall))
    bench.stream(0.0, 10.0, 1.0, spo2_percent=97.0)
    bench.stream(10.0, 15.0, 1.0, spo2_percent=90.0)
    bench.stream(15.0, 16.0 + later_s, 1.0, spo2_percent=97.0)
    bench.advance(400.0)
    assert bench.alarms("lost") == ([(45.0 + later_s, "UNACKNOWLEDGED")] if follows else [])


def test_stale_that_must_follow_a_fall_which_still_held() -> None:
    fall = rule(plans.Below(SPO2, 94.0), id="fall", on_s=20)
    lost = rule(plans.Stale((SPO2,), 30 * S, "fall", 60 * S), id="lost")
    bench = Bench(plan(lost, fall))
    bench.stream(0.0, 10.0, 1.0, spo2_percent=97.0)
    bench.stream(10.0, 15.0, 1.0, spo2_percent=90.0)
    for second in range(15, 40):
        bench.bad(float(second), SPO2)
    bench.advance(100.0)
    assert bench.alarms("lost") == [(44.0, "UNACKNOWLEDGED")]


# Values one a second from 100 s on, and when it is called stuck.
STUCK = [
    ("moving", [60.0, 60.1] * 30, None),
    ("frozen from the start", [60.0] * 60, 130.0),
    ("one step at 20 s", [60.0] * 20 + [60.1] * 40, 150.0),
    ("frozen for 29 s at a time", ([60.0] * 29 + [60.1] * 29) * 3, None),
]


@pytest.mark.parametrize(
    ("values", "at_s"), [case[1:] for case in STUCK], ids=[case[0] for case in STUCK]
)
def test_stuck_is_the_same_word_for_half_a_minute(values: list[float], at_s: float | None) -> None:
    bench = Bench(plan(rule(plans.Stuck(HOOD, 30 * S)), air=True))
    for second, value in enumerate(values):
        bench.good(100.0 + second, HOOD, value)
    assert bench.alarms() == ([] if at_s is None else [(at_s, "UNACKNOWLEDGED")])


def test_stuck_ends_when_the_word_moves() -> None:
    bench = Bench(plan(rule(plans.Stuck(HOOD, 30 * S), off_s=2), air=True))
    bench.stream(0.0, 40.0, 1.0, hood_pressure_pa=60.0)
    bench.stream(40.0, 50.0, 1.0, hood_pressure_pa=[60.1, 60.2])
    # The window of 40 s is closed at 41 s; the off-delay of 2 s counts from there.
    assert bench.alarms() == [(30.0, "UNACKNOWLEDGED"), (42.0, "RETURNED")]


@pytest.mark.parametrize(
    ("subject", "active", "at_s"),
    [("bench", True, 26.0), ("bench", False, 21.0), ("kitchen", True, 21.0)],
)
def test_fact_stale_hears_only_its_own_box(subject: str, active: bool, at_s: float) -> None:
    stale = plans.FactStale("far_end_confirmed", "bench", 6 * S)
    bench = Bench(plan(rule(stale, stages=WORN)))
    bench.command(15.0, Verb.START)
    bench.fact(20.0, "far_end_confirmed", active, subject)
    bench.advance(60.0)
    assert bench.alarms() == [(at_s, "UNACKNOWLEDGED")]


CHECK_IN = plans.CheckInPlan(60 * S, 30 * S)


@pytest.mark.parametrize(("press_s", "at_s"), [(None, 130.0), (50.0, 170.0), (129.9, 249.9)])
def test_check_in_is_missed_a_minute_after_it_was_due(press_s: float | None, at_s: float) -> None:
    bench = Bench(plan(rule(plans.CheckInMissed(60 * S), stages=WORN), check_in=CHECK_IN))
    bench.command(10.0, Verb.START)
    if press_s is not None:
        bench.press(press_s)
    bench.advance(300.0)
    assert bench.alarms() == [(at_s, "UNACKNOWLEDGED")]


def test_a_good_pulse_is_a_sign_of_life_and_a_bad_one_is_none() -> None:
    missed = rule(plans.CheckInMissed(60 * S), stages=WORN)
    bench = Bench(plan(missed, signals=(PULSE,), check_in=CHECK_IN))
    bench.command(0.0, Verb.START)
    bench.stream(0.0, 300.0, 1.0, pulse_rate_bpm=70.0)
    for second in range(300, 500):
        bench.bad(float(second), PULSE)
    assert bench.alarms() == [(419.0, "UNACKNOWLEDGED")]
    bench.good(500.0, PULSE, 70.0)
    assert bench.alarms()[1:] == [(500.0, "RETURNED")]


def test_nobody_is_asked_outside_use() -> None:
    bench = Bench(plan(rule(plans.CheckInMissed(60 * S)), check_in=CHECK_IN))
    bench.contact(0.0, "hook", ContactState.CLOSED)
    bench.advance(1000.0)
    assert bench.said == []
