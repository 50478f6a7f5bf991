"""Faults that random days found in the core. The title says what was wrong."""

from core.watching import NORMAL_PA, Bench, plan, rule
from linetender.core.events import Sound
from linetender.core.inputs import Verb
from linetender.core.instants import SECOND_NS, from_seconds
from linetender.core.plan import Below, BelowBaseline, CheckInPlan, Stale
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage
from linetender.core.watch import Watch

HOOD = Signal.HOOD_PRESSURE_PA
SPO2 = Signal.SPO2_PERCENT
PULSE = Signal.PULSE_RATE_BPM


def test_an_off_delay_begins_anew_after_a_restart() -> None:
    """Good readings passed the guard, and the alarm stayed for ever."""
    bench = Bench(plan(rule(Below(SPO2, 90.0), off_s=15)))
    bench.good(0.0, SPO2, 80.0)
    bench.stream(1.0, 5.0, 1.0, spo2_percent=97.0)
    kept = bench.watch.carryover().after_restart(10 * SECOND_NS)
    bench.watch = Watch(bench.watch.plan, from_seconds(15.0), kept)
    bench.stream(16.0, 40.0, 1.0, spo2_percent=97.0)
    assert bench.alarms() == [(0.0, "UNACKNOWLEDGED"), (31.0, "RETURNED")]


def test_air_that_is_back_ends_blindness_though_the_finger_clip_is_off() -> None:
    """Each failed oximeter reading restarted the off-delay of the rule over both."""
    bench = Bench(plan(rule(Stale((HOOD, SPO2), 10 * SECOND_NS), off_s=5), air=True))
    bench.advance(12.0)
    for second in range(12, 30):
        bench.bad(float(second), SPO2)
        bench.good(second + 0.5, HOOD, NORMAL_PA)
    assert bench.alarms() == [(10.0, "UNACKNOWLEDGED"), (17.5, "RETURNED")]


def test_a_loss_after_a_fall_is_told_though_an_earlier_loss_was_not() -> None:
    """The first silence was dismissed, and good readings passed the guard ever after."""
    falling = rule(BelowBaseline(SPO2, 4.0, 1.0), id="falling")
    lost = rule(Stale((SPO2,), 30 * SECOND_NS, "falling"), id="lost")
    bench = Bench(plan(falling, lost))
    bench.command(0.0, Verb.START)
    bench.stream(0.0, 40.0, 1.0, spo2_percent=98.0)
    bench.stream(80.0, 90.0, 1.0, spo2_percent=98.0)
    bench.stream(90.0, 95.0, 1.0, spo2_percent=90.0)
    bench.advance(140.0)
    assert bench.alarms("lost") == [(124.0, "UNACKNOWLEDGED")]


def test_a_good_pulse_ends_the_reminder_of_a_check_in() -> None:
    """The ticks went on until something else happened."""
    bench = Bench(
        plan(
            rule(Below(PULSE, 0.0)),
            signals=(PULSE,),
            check_in=CheckInPlan(60 * SECOND_NS, 30 * SECOND_NS),
        )
    )
    bench.command(0.0, Verb.START)
    bench.advance(35.0)
    assert bench.demand.sound is Sound.TICKS
    bench.good(35.5, PULSE, 80.0)
    bench.advance(36.0)
    assert bench.demand.sound is Sound.SILENT


def test_a_pause_of_sound_that_ends_while_blind_has_ended() -> None:
    """What fell due during a restart was told only with the next event."""
    bench = Bench(plan(rule(Below(SPO2, 90.0))))
    bench.good(0.0, SPO2, 80.0)
    bench.command(1.0, Verb.PAUSE_SOUND, duration_ns=20 * SECOND_NS)
    assert bench.demand.sound is Sound.SILENT
    kept = bench.watch.carryover().after_restart(60 * SECOND_NS)
    bench.watch = Watch(bench.watch.plan, from_seconds(61.0), kept)
    bench.advance(61.0)
    assert bench.demand.sound is Sound.MEDIUM


def test_a_delayed_raise_goes_on_when_the_use_ends() -> None:
    """It was dropped, and values that stayed low passed the guard."""
    flat = rule(
        Below(Signal.OXIMETER_BATTERY_PERCENT, 20.0),
        on_s=30,
        priority=Priority.LOW,
        stages=(Stage.IDLE, Stage.WORN),
    )
    bench = Bench(plan(flat, signals=(Signal.OXIMETER_BATTERY_PERCENT,)))
    bench.command(0.0, Verb.START)
    bench.stream(1.0, 60.0, 1.0, oximeter_battery_percent=10.0)
    assert bench.alarms() == [(31.0, "UNACKNOWLEDGED")]
    other = Bench(bench.watch.plan)
    other.command(0.0, Verb.START)
    other.stream(1.0, 10.0, 1.0, oximeter_battery_percent=10.0)
    other.command(10.0, Verb.OUT)
    other.stream(11.0, 60.0, 1.0, oximeter_battery_percent=10.0)
    assert other.alarms() == [(31.0, "UNACKNOWLEDGED")]
