"""A use of the hood: reminders, restarts, and the questions after a power cut and an end."""

import pytest

from core.watching import NORMAL_PA, Bench, plan, rule
from linetender.core.carryover import Carryover
from linetender.core.events import AlarmChanged, BaselineSet, Cue, FalseLeave, Sound
from linetender.core.inputs import By, ContactState, Verb
from linetender.core.instants import SECOND_NS, from_seconds, to_seconds
from linetender.core.plan import Below, Held, OnFact, Plan
from linetender.core.session import Session
from linetender.core.signals import Signal
from linetender.core.snapshot import Question
from linetender.core.stages import Priority, Stage
from linetender.core.watch import Watch

HIGH = Priority.HIGH
PULSE = Signal.PULSE_RATE_BPM
OPEN, CLOSED = ContactState.OPEN, ContactState.CLOSED
LOST = rule(
    Below(Signal.AIR_PERCENT_OF_BASELINE, 65.0, 10.0),
    id="lost",
    on_s=2,
    off_s=5,
    priority=HIGH,
    latching=True,
    killer=True,
    loss_of_air=True,
    realarm_s=15,
)
RESUMED = rule(OnFact("resumed"), id="resumed", technical=True, stages=(Stage.WORN,))
UNANSWERED = rule(
    OnFact("power_cut_unanswered"),
    id="unanswered",
    priority=HIGH,
    killer=True,
    latching=True,
    stages=(Stage.WORN,),
)
HELP = rule(Held("answer", 2 * SECOND_NS), id="help", priority=HIGH, killer=True, latching=True)


def station(**more: object) -> Plan:
    fields = {"contact_names": ("ann",)} | more
    rules = (LOST, RESUMED, UNANSWERED, HELP)
    return plan(*rules, signals=(PULSE,), air=True, **fields)


def good(bench: Bench, from_s: float, until_s: float) -> None:
    bench.stream(from_s, until_s, 0.2, hood_pressure_pa=NORMAL_PA)


def worn() -> Bench:
    """Return a station whose hood has been worn for 65 s, with a baseline."""
    bench = Bench(station())
    bench.command(0.0, Verb.START)
    good(bench, 0.0, 65.0)
    return bench


def after(bench: Bench, blind_s: float | None, *, at_s: float = 70.0) -> Bench:
    """Return the station as a new run finds it; None means that the power was cut."""
    blind_ns = None if blind_s is None else from_seconds(blind_s)
    kept: Carryover = bench.watch.carryover().after_restart(blind_ns)
    new = Bench(bench.watch.plan)
    new.watch = Watch(bench.watch.plan, from_seconds(at_s), kept)
    new.advance(at_s)
    return new


# A restart of the program


def test_a_restart_resumes_and_says_how_long_it_was_blind_until_somebody_answers() -> None:
    bench = after(worn(), 5.0)
    (raised,) = [e for e in bench.said if isinstance(e, AlarmChanged)]
    assert (raised.rule, raised.why) == ("resumed", "blind for at most 5 s")
    assert bench.stage is Stage.WORN
    assert bench.watch.snapshot().air_baseline == NORMAL_PA
    assert bench.watch.snapshot().question is Question.NONE
    good(bench, 70.0, 72.0)
    bench.press(72.0)
    assert bench.state("resumed") == "NORMAL"


def test_an_attendants_answer_is_none_of_the_wearers() -> None:
    bench = after(worn(), 5.0)
    bench.command(71.0, Verb.ACKNOWLEDGE, By.ATTENDANT, shown=100)
    assert bench.state("resumed") == "ACKNOWLEDGED"


def test_a_second_restart_says_its_own_time_and_lowers_nothing() -> None:
    bench = after(after(worn(), 5.0), 9.0, at_s=80.0)
    bench.advance(81.0)
    assert bench.state("resumed") == "UNACKNOWLEDGED"
    bench.press(82.0)
    bench.advance(90.0)
    assert bench.state("resumed") == "NORMAL"


@pytest.mark.parametrize(("blind_s", "is_kept"), [(5.0, True), (900.0, True), (901.0, False)])
def test_a_baseline_is_kept_across_a_short_gap(blind_s: float, is_kept: bool) -> None:
    bench = after(worn(), blind_s)
    assert (bench.watch.snapshot().air_baseline is not None) is is_kept
    dropped = [e.source for e in bench.said if isinstance(e, BaselineSet)]
    assert dropped == ([] if is_kept else ["too_old"])


@pytest.mark.parametrize("is_still_down", [False, True])
def test_a_press_during_which_it_was_killed_is_no_call_unless_it_goes_on(
    is_still_down: bool,
) -> None:
    """The state is kept at what the press did; that it was let go makes no event."""
    before = worn()
    before.contact(66.0, "answer", CLOSED)
    bench = after(before, 5.0)
    bench.contact(70.1, "answer", CLOSED if is_still_down else OPEN)
    bench.advance(72.0)
    assert bench.state("help") == "NORMAL"
    bench.advance(80.0)
    assert bench.state("help") == ("UNACKNOWLEDGED" if is_still_down else "NORMAL")


def test_a_restart_in_idle_asks_and_says_nothing() -> None:
    bench = worn()
    bench.command(66.0, Verb.END)
    for blind_s in (5.0, None):
        new = after(bench, blind_s)
        assert new.said == []
        new.stream(70.0, 170.0, 0.2, hood_pressure_pa=0.4)
        assert (new.raised(), new.demand.sound, new.stage) == ([], Sound.SILENT, Stage.IDLE)


@pytest.mark.parametrize(("good_s", "arms"), [(59.0, False), (61.0, True)])
def test_a_line_that_runs_on_after_the_end_arms_anew_once_the_station_was_restarted(
    good_s: float, arms: bool
) -> None:
    bench = worn()
    bench.command(66.0, Verb.END)
    good(bench, 66.0, 140.0)
    assert not bench.watch.snapshot().air_armed
    new = after(bench, 5.0, at_s=145.0)
    good(new, 145.0, 145.0 + good_s)
    assert new.watch.snapshot().air_armed is arms


# A power cut


def asked(*, air_pa: float | None = 0.4) -> Bench:
    """Return a worn station after a power cut, the line off as the fan lost its power too."""
    bench = after(worn(), None)
    assert bench.watch.snapshot().question is Question.HOOD
    assert (bench.demand.cue, bench.stage) == (Cue.ASKS, Stage.WORN)
    if air_pa is not None:
        bench.stream(70.0, 80.0, 0.2, hood_pressure_pa=air_pa)
    return bench


def test_it_asks_in_the_room_first() -> None:
    bench = asked()
    assert bench.state("lost") == "UNACKNOWLEDGED"
    assert (bench.demand.sound, bench.demand.far, bench.demand.tell) == (
        Sound.HIGH,
        Sound.SILENT,
        (),
    )
    assert asked(air_pa=None).demand.sound in (Sound.TICKS, Sound.MEDIUM)


def test_a_tap_says_that_the_hood_was_off() -> None:
    bench = asked()
    bench.press(85.0, held_s=0.3)
    assert bench.stages() == [(85.3, Stage.IDLE, "button, the hood was off, out")]
    bench.advance(600.0)
    assert (bench.demand.sound, bench.demand.far, bench.demand.tell) == (
        Sound.SILENT,
        Sound.SILENT,
        (),
    )


def test_holding_it_calls_for_help_at_once_and_ends_the_question() -> None:
    bench = asked()
    bench.contact(85.0, "answer", CLOSED)
    bench.advance(87.0)
    assert (bench.stage, bench.demand.far, bench.demand.tell) == (Stage.WORN, Sound.HIGH, ("ann",))
    bench.contact(88.0, "answer", OPEN)
    assert (bench.stage, bench.watch.snapshot().question) == (Stage.WORN, Question.NONE)


def test_a_minute_of_silence_brings_somebody() -> None:
    bench = asked()
    bench.advance(129.9)
    assert bench.demand.tell == ()
    bench.advance(130.0)
    assert bench.state("unanswered") == "UNACKNOWLEDGED"
    assert (bench.demand.far, bench.demand.tell) == (Sound.HIGH, ("ann",))
    bench.press(140.0)
    assert bench.stage is Stage.WORN
    assert bench.state("unanswered") == "LATCHED_ACKNOWLEDGED"


def test_a_pulse_brings_somebody_at_once() -> None:
    bench = asked(air_pa=None)
    bench.stream(80.0, 83.0, 1.0, pulse_rate_bpm=70.0)
    assert bench.alarms("unanswered") == [(81.0, "UNACKNOWLEDGED")]
    assert bench.demand.tell == ("ann",)


# The time


def test_the_wearer_is_reminded_of_the_time() -> None:
    bench = Bench(station(remind_ns=600 * SECOND_NS))
    bench.command(0.0, Verb.START)
    bench.advance(1900.0)
    reminded = [at_s for at_s, demand in bench.demands() if demand.cue is Cue.REMINDS]
    assert reminded == [600.0, 1200.0, 1800.0]
    assert bench.watch.snapshot().worn_for_ns == 1900 * SECOND_NS


# The last LEAVE


def left(*, at_s: float = 75.0) -> Bench:
    """Return a station left with a LEAVE that sounded at 67 s."""
    bench = worn()
    bench.stream(65.0, 70.0, 0.2, hood_pressure_pa=0.4)
    bench.command(at_s, Verb.OUT)
    return bench


def test_a_tap_in_half_a_minute_marks_the_last_leave_as_false() -> None:
    bench = left()
    assert (bench.demand.cue, bench.watch.snapshot().question) == (Cue.ASKS, Question.FALSE_LEAVE)
    bench.press(104.9)
    (mark,) = [e for e in bench.said if isinstance(e, FalseLeave)]
    (raised,) = [
        e for e in bench.said if isinstance(e, AlarmChanged) and e.after.name == "UNACKNOWLEDGED"
    ]
    assert (mark.rule, mark.n, to_seconds(mark.due_ns)) == ("lost", raised.n, 104.9)
    assert (bench.stage, bench.demand.cue) == (Stage.IDLE, Cue.NONE)


def test_later_a_tap_begins_the_check() -> None:
    bench = left()
    bench.press(105.1)
    assert [e for e in bench.said if isinstance(e, FalseLeave)] == []
    assert bench.stage is Stage.PRE_USE


def test_nothing_is_asked_after_a_use_without_a_leave_or_with_the_wearers_own_call() -> None:
    bench = worn()
    bench.press(66.0, held_s=3.0)
    bench.command(75.0, Verb.OUT)
    assert bench.watch.snapshot().question is Question.NONE


def test_the_questions_outlive_a_restart() -> None:
    bench = after(left(), 2.0, at_s=80.0)
    bench.press(90.0)
    assert [e.rule for e in bench.said if isinstance(e, FalseLeave)] == ["lost"]
    kept = Session.INSTANTS + Session.VALUES
    assert {"asked_ns", "leave_rule", "blind"} <= set(kept)
