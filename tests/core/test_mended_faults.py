"""Faults the core once had, each kept from coming back. The title says what was wrong."""

from core.watching import NORMAL_PA, Bench, plan, rule
from linetender.core.inputs import By, Contact, ContactState, Verb
from linetender.core.instants import SECOND_NS, from_seconds
from linetender.core.plan import (
    Above,
    AboveBaseline,
    AnyOf,
    Below,
    BelowBaseline,
    CheckInMissed,
    CheckInPlan,
    Held,
    Outside,
    RisesTo,
    Stale,
    Stuck,
)
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage
from linetender.core.watch import Watch

HOOD = Signal.HOOD_PRESSURE_PA
SPO2 = Signal.SPO2_PERCENT
PULSE = Signal.PULSE_RATE_BPM
USE = (Stage.PRE_USE, Stage.WORN)
HELP = rule(
    Held("answer", 2 * SECOND_NS),
    id="help",
    priority=Priority.HIGH,
    latching=True,
    killer=True,
    realarm_s=15,
)


def test_an_off_delay_does_not_end_on_the_reading_that_is_wrong_again() -> None:
    """A closing window let alarms decide before levels had seen the value."""
    bench = Bench(plan(rule(Above(HOOD, 90.0), off_s=5), air=True))
    bench.good(0.0, HOOD, 100.0)
    bench.stream(1.0, 6.0, 0.5, hood_pressure_pa=60.0)
    bench.good(6.0, HOOD, 100.0)
    assert bench.alarms() == [(0.0, "UNACKNOWLEDGED")]


def test_an_off_delay_does_not_end_on_the_first_reading_after_a_gap() -> None:
    """The same window closing passed by the look at the gap."""
    bench = Bench(plan(rule(Above(HOOD, 90.0), off_s=5), air=True))
    bench.good(0.0, HOOD, 100.0)
    bench.good(1.0, HOOD, 60.0)
    bench.stream(10.0, 16.0, 0.5, hood_pressure_pa=60.0)
    assert bench.alarms() == [(0.0, "UNACKNOWLEDGED"), (15.0, "RETURNED")]


def test_a_sensor_that_never_gave_a_number_is_not_called_stuck() -> None:
    bench = Bench(plan(rule(Stuck(HOOD, 30 * SECOND_NS)), air=True))
    for second in range(60):
        bench.bad(float(second), HOOD)
    assert bench.alarms() == []


def test_a_bad_reading_does_not_make_a_frozen_sensor_move() -> None:
    bench = Bench(plan(rule(Stuck(HOOD, 30 * SECOND_NS)), air=True))
    for turn in range(100):
        if turn % 10 == 9:
            bench.bad(turn * 0.5, HOOD)
        else:
            bench.good(turn * 0.5, HOOD, 60.0)
    assert [after for _, after in bench.alarms()] == ["UNACKNOWLEDGED"]


def test_a_call_for_help_that_was_ended_does_not_come_back() -> None:
    bench = Bench(plan(HELP))
    bench.press(1.0, held_s=3.0)
    assert bench.command(5.0, Verb.OUT) is None
    assert bench.state("help") == "NORMAL"
    bench.command(10.0, Verb.PRE_USE)
    assert (bench.stage, bench.state("help")) == (Stage.PRE_USE, "NORMAL")


def test_a_second_call_for_help_after_out_is_heard() -> None:
    """It was swallowed: the first was still taken as present."""
    bench = Bench(plan(HELP))
    bench.command(1.0, Verb.HELP)
    bench.command(5.0, Verb.OUT)
    bench.command(10.0, Verb.HELP, By.ATTENDANT)
    assert bench.raised() == ["help", "help"]


def test_a_missed_check_in_of_an_ended_use_does_not_sound_in_the_next() -> None:
    late = rule(
        CheckInMissed(60 * SECOND_NS), id="late", stages=(Stage.WORN,), latching=True, killer=True
    )
    bench = Bench(plan(late, check_in=CheckInPlan(60 * SECOND_NS, 30 * SECOND_NS)))
    bench.contact(0.0, "hook", ContactState.CLOSED)
    bench.contact(1.0, "hook", ContactState.OPEN)
    bench.contact(130.0, "hook", ContactState.CLOSED)
    bench.contact(140.0, "hook", ContactState.OPEN)
    assert bench.raised() == ["late"]
    assert bench.state("late") == "NORMAL"


def test_one_press_answers_a_missed_check_in() -> None:
    """The press counted as the sign of life first, and so answered nothing."""
    late = rule(
        CheckInMissed(60 * SECOND_NS), id="late", stages=(Stage.WORN,), latching=True, killer=True
    )
    bench = Bench(plan(late, check_in=CheckInPlan(60 * SECOND_NS, 30 * SECOND_NS)))
    bench.command(1.0, Verb.START)
    bench.press(125.0)
    assert bench.alarms("late") == [
        (121.0, "UNACKNOWLEDGED"),
        (125.0, "ACKNOWLEDGED"),
        (125.0, "LATCHED_ACKNOWLEDGED"),
    ]


def test_a_fall_below_an_earlier_baseline_does_not_sound_in_the_next_use() -> None:
    falling = rule(BelowBaseline(SPO2, 4.0, 1.0), id="falling", stages=USE)
    bench = Bench(plan(falling))
    bench.command(0.0, Verb.START)
    bench.stream(0.0, 40.0, 1.0, spo2_percent=98.0)
    bench.stream(40.0, 45.0, 1.0, spo2_percent=90.0)
    bench.command(45.0, Verb.END)
    bench.command(50.0, Verb.START)
    assert bench.raised() == ["falling"]
    assert bench.state("falling") == "NORMAL"


def test_a_loss_of_reading_does_not_follow_a_fall_of_the_last_use() -> None:
    falling = rule(BelowBaseline(SPO2, 4.0, 1.0), id="falling", stages=USE)
    lost = rule(Stale((SPO2,), 30 * SECOND_NS, "falling"), id="lost", stages=USE)
    bench = Bench(plan(falling, lost))
    bench.command(0.0, Verb.START)
    bench.stream(0.0, 40.0, 1.0, spo2_percent=98.0)
    bench.stream(40.0, 45.0, 1.0, spo2_percent=90.0)
    bench.command(45.0, Verb.END)
    bench.command(50.0, Verb.START)
    bench.good(51.0, SPO2, 98.0)
    bench.advance(120.0)
    assert bench.alarms("lost") == []


def test_a_silence_after_a_short_return_has_its_deadline() -> None:
    """The deadline was forgotten until something else asked for it."""
    fall = rule(Below(SPO2, 94.0), id="fall", on_s=100)
    lost = rule(Stale((SPO2,), 30 * SECOND_NS, "fall"), id="lost")
    bench = Bench(plan(fall, lost))
    bench.good(0.0, SPO2, 97.0)
    bench.advance(40.0)
    bench.good(50.0, SPO2, 90.0)
    bench.advance(100.0)
    assert bench.alarms("lost") == [(80.0, "UNACKNOWLEDGED")]


def test_equality_with_the_limit_does_not_flicker_without_a_deadband() -> None:
    cases = (
        (Outside(SPO2, 40.0, 150.0), 40.0),
        (BelowBaseline(SPO2, 4.0), 94.0),
        (AboveBaseline(SPO2, 1.0), 99.0),
    )
    for condition, value in cases:
        bench = Bench(plan(rule(condition)))
        bench.command(0.0, Verb.START)
        bench.stream(0.0, 40.0, 1.0, spo2_percent=98.0)
        bench.stream(40.0, 50.0, 1.0, spo2_percent=value)
        assert bench.raised() == ["rule"], condition


def test_a_carryover_is_not_changed_by_the_watch_it_came_from() -> None:
    """The steps of the pre-use check were shared between them."""
    bench = Bench(plan(HELP))
    bench.command(1.0, Verb.PRE_USE)
    kept = bench.watch.carryover()
    before = repr(kept)
    bench.press(2.0)
    # The successor goes its own way too.
    successor = Watch(bench.watch.plan, from_seconds(1.0), kept)
    successor.feed(Contact(from_seconds(1.5), "answer", ContactState.CLOSED))
    assert repr(kept) == before


def test_an_alarm_that_comes_back_on_entering_still_rises() -> None:
    low = rule(
        Below(SPO2, 90.0), rises_to=RisesTo(Priority.HIGH, 30 * SECOND_NS), stages=(Stage.WORN,)
    )
    bench = Bench(plan(low))
    bench.command(0.0, Verb.START)
    bench.good(1.0, SPO2, 80.0)
    bench.command(2.0, Verb.OUT)
    bench.command(10.0, Verb.START)
    bench.advance(60.0)
    assert bench.demand.light is Priority.HIGH


def test_silence_inside_any_of_counts_from_the_start_of_the_stage() -> None:
    silent = rule(AnyOf((Stale((SPO2,), 10 * SECOND_NS),)), stages=(Stage.WORN,))
    bench = Bench(plan(silent))
    bench.command(100.0, Verb.START)
    bench.advance(120.0)
    assert bench.alarms() == [(110.0, "UNACKNOWLEDGED")]


def test_a_press_in_idle_does_not_end_what_began_less_than_a_third_of_a_second_ago() -> None:
    lost = rule(
        Below(HOOD, 20.0), priority=Priority.HIGH, killer=True, latching=True, loss_of_air=True
    )
    bench = Bench(plan(lost, air=True))
    bench.stream(0.0, 70.0, 0.5, hood_pressure_pa=NORMAL_PA)
    bench.good(70.0, HOOD, 5.0)
    bench.press(70.2)
    assert bench.demand.rule == "rule"
    bench.press(70.5)
    assert bench.state() == "SUPPRESSED"


def test_a_second_that_is_mostly_bad_is_not_good_air() -> None:
    bench = Bench(plan(HELP, air=True))
    for turn in range(5 * 70):
        if turn % 5 in (1, 3, 4):
            bench.bad(turn * 0.2, HOOD)
        else:
            bench.good(turn * 0.2, HOOD, NORMAL_PA)
    assert not bench.watch.snapshot().air_armed


def test_a_good_value_ends_doubt_even_where_no_level_looks() -> None:
    bench = Bench(plan(HELP, signals=(PULSE,)))
    bench.good(0.0, PULSE, 70.0)
    bench.good(1.0, PULSE, 70.0, doubt="motion")
    successor = Bench(bench.watch.plan)
    successor.watch = Watch(bench.watch.plan, from_seconds(1.0), bench.watch.carryover())
    successor.good(2.0, PULSE, 70.0)
    assert successor.watch.snapshot().signals[0].quality.value == "good"
