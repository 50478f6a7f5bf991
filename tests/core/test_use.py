"""Stages of use: who moves them, and what is watched in each."""

import pytest

from core.watching import NORMAL_PA, Bench, plan, rule
from linetender.core.events import StepChanged
from linetender.core.inputs import By, ContactState, Verb
from linetender.core.instants import SECOND_NS as S
from linetender.core.plan import Below, OnFact, Plan, Stale
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage

IDLE, PRE_USE, WORN, SERVICE = Stage.IDLE, Stage.PRE_USE, Stage.WORN, Stage.SERVICE
OPEN, CLOSED = ContactState.OPEN, ContactState.CLOSED
SPO2, PULSE, HOOD = Signal.SPO2_PERCENT, Signal.PULSE_RATE_BPM, Signal.HOOD_PRESSURE_PA
LOST = rule(
    Below(Signal.AIR_PERCENT_OF_BASELINE, 65.0, 10.0),
    id="lost",
    on_s=2,
    off_s=5,
    priority=Priority.HIGH,
    latching=True,
    killer=True,
    loss_of_air=True,
    realarm_s=15,
    stages=(IDLE, PRE_USE, WORN),
)


def station(*more: object, oximeter: bool = False) -> Plan:
    """Return a station with air, and an oximeter where wanted."""
    signals = (SPO2, PULSE) if oximeter else ()
    return plan(LOST, *more, signals=signals, air=True)  # type: ignore[arg-type]


# By commands: (verb, by) one a second, and the stage at the end.
COMMANDS = [
    ([(Verb.PRE_USE, By.WEARER)], PRE_USE),
    ([(Verb.PRE_USE, By.REMOTE)], PRE_USE),
    ([(Verb.START, By.ATTENDANT)], WORN),
    ([(Verb.START, By.WEARER), (Verb.END, By.WEARER)], IDLE),
    ([(Verb.START, By.WEARER), (Verb.OUT, By.WEARER)], IDLE),
    ([(Verb.START, By.WEARER), (Verb.END, By.ATTENDANT)], WORN),
    ([(Verb.START, By.WEARER), (Verb.OUT, By.ATTENDANT)], WORN),
    ([(Verb.START, By.WEARER), (Verb.END, By.REMOTE)], WORN),
    ([(Verb.START, By.WEARER), (Verb.OUT, By.REMOTE)], WORN),
    ([(Verb.START, By.WEARER), (Verb.SERVICE, By.WEARER)], WORN),
    ([(Verb.START, By.WEARER), (Verb.PRE_USE, By.WEARER)], WORN),
    ([(Verb.PRE_USE, By.WEARER), (Verb.PRE_USE, By.WEARER)], PRE_USE),
    ([(Verb.PRE_USE, By.WEARER), (Verb.END, By.ATTENDANT)], IDLE),
    ([(Verb.SERVICE, By.ATTENDANT)], SERVICE),
    ([(Verb.SERVICE, By.ATTENDANT), (Verb.SERVICE, By.ATTENDANT)], IDLE),
    ([(Verb.SERVICE, By.ATTENDANT), (Verb.START, By.WEARER)], SERVICE),
]


@pytest.mark.parametrize(("commands", "stage"), COMMANDS)
def test_commands_move_the_stage(commands: list[tuple[Verb, By]], stage: Stage) -> None:
    bench = Bench(station())
    for second, (verb, by) in enumerate(commands):
        bench.command(float(second), verb, by)
    assert bench.stage is stage


# The hook: states one a second.
HOOK = [
    ([CLOSED], IDLE),
    ([CLOSED, OPEN], WORN),
    ([OPEN], WORN),
    ([CLOSED, OPEN, CLOSED], IDLE),
    ([CLOSED, OPEN, ContactState.BROKEN], WORN),
    ([CLOSED, OPEN, ContactState.BROKEN, OPEN], WORN),
    ([CLOSED, ContactState.BROKEN, CLOSED], IDLE),
    ([CLOSED, OPEN, OPEN, OPEN], WORN),
]


@pytest.mark.parametrize(("states", "stage"), HOOK)
def test_the_hook_moves_the_stage(states: list[ContactState], stage: Stage) -> None:
    bench = Bench(station())
    for second, state in enumerate(states):
        bench.contact(float(second), "hook", state)
    assert bench.stage is stage


def test_after_an_end_by_button_the_hood_must_first_be_hung_up() -> None:
    """A hood that lies on the bench, its hook still open, starts nothing."""
    bench = Bench(station())
    bench.contact(0.0, "hook", CLOSED)
    bench.contact(1.0, "hook", OPEN)
    bench.command(2.0, Verb.END)
    bench.contact(3.0, "hook", OPEN)
    assert bench.stage is IDLE


def test_the_pre_use_check_by_one_button() -> None:
    bench = Bench(station(oximeter=True))
    bench.stream(0.0, 5.0, 0.2, hood_pressure_pa=NORMAL_PA)
    bench.press(5.0)
    bench.press(6.0)
    for turn in range(5 * 35):
        now_s = 6.2 + turn * 0.2
        bench.good(now_s, HOOD, NORMAL_PA)
        if turn % 5 == 0:
            bench.good(now_s, SPO2, 97.0)
            bench.good(now_s, PULSE, 70.0)
    steps = [(e.step, e.state.value) for e in bench.said if isinstance(e, StepChanged)]
    assert steps == [
        ("checklist", "waiting"),
        ("air", "waiting"),
        ("spo2_percent", "waiting"),
        ("pulse_rate_bpm", "waiting"),
        ("checklist", "met"),
        ("air", "met"),
        ("spo2_percent", "met"),
        ("pulse_rate_bpm", "met"),
        ("check", "met"),
    ]


def test_a_press_does_not_pass_over_a_step_that_is_not_met() -> None:
    bench = Bench(station())
    for second in range(6):
        bench.press(float(second))
    assert bench.stages() == [(0.0, PRE_USE, "button")]
    bench.stream(10.0, 35.0, 0.2, hood_pressure_pa=NORMAL_PA)
    bench.press(35.0)
    assert bench.stages()[-1] == (35.0, WORN, "button")


def test_an_accepted_check_ends_what_was_latched_and_answered() -> None:
    leak = rule(OnFact("leak"), id="leak", latching=True)
    bench = Bench(station(leak))
    bench.fact(0.0, "leak", True)
    bench.command(0.5, Verb.ACKNOWLEDGE, shown=1)
    bench.fact(0.6, "leak", False)
    assert bench.state("leak") == "LATCHED_ACKNOWLEDGED"
    bench.press(1.0)
    bench.press(2.0)
    bench.stream(3.0, 30.0, 0.2, hood_pressure_pa=NORMAL_PA)
    bench.press(30.0)
    assert (bench.stage, bench.state("leak")) == (WORN, "NORMAL")


# Automatic start


def running(bench: Bench, from_s: float, until_s: float, *, pulse: bool = True) -> None:
    """Run the line, with a valid pulse or without."""
    for second in range(round(from_s), round(until_s)):
        bench.stream(second, second + 1, 0.2, hood_pressure_pa=NORMAL_PA)
        if pulse:
            bench.good(second + 0.9, PULSE, 70.0)


def test_good_air_and_a_pulse_for_half_a_minute_start_the_use() -> None:
    bench = Bench(station(oximeter=True))
    running(bench, 0, 60)
    ((at_s, stage, why),) = bench.stages()
    assert (stage, why) == (WORN, "evidently worn")
    assert 30.0 <= at_s <= 32.0


def test_a_pulse_that_fails_starts_it_later() -> None:
    bench = Bench(station(oximeter=True))
    running(bench, 0, 20)
    running(bench, 20, 30, pulse=False)
    running(bench, 30, 70)
    ((at_s, _, _),) = bench.stages()
    assert 60.0 <= at_s <= 62.0


def test_after_an_end_a_line_that_runs_on_starts_nothing() -> None:
    bench = Bench(station(oximeter=True))
    running(bench, 0, 60)
    bench.command(60.0, Verb.END)
    running(bench, 60, 300)
    assert bench.stage is IDLE
    bench.stream(300.0, 310.0, 0.2, hood_pressure_pa=0.5)
    running(bench, 310, 350)
    assert bench.stage is WORN


def test_with_a_hook_nothing_starts_by_itself() -> None:
    bench = Bench(station(oximeter=True))
    bench.contact(0.0, "hook", CLOSED)
    running(bench, 1, 700)
    assert bench.stages() == []


@pytest.mark.parametrize(("minutes", "is_said"), [(9.9, False), (10.2, True)])
def test_without_hook_or_oximeter_a_look_says_not_checked(minutes: float, is_said: bool) -> None:
    not_checked = rule(OnFact("not_checked"), id="not_checked")
    bench = Bench(station(not_checked))
    bench.stream(0.0, minutes * 60.0, 0.2, hood_pressure_pa=NORMAL_PA)
    assert bench.stage is IDLE
    assert bench.raised() == (["not_checked"] if is_said else [])
    if is_said:
        bench.command(minutes * 60.0, Verb.START)
        assert bench.state("not_checked") == "RETURNED"


# When loss of air is watched


def test_worn_is_watched_from_the_first_instant() -> None:
    bench = Bench(station())
    bench.stream(0.0, 3.0, 0.2, hood_pressure_pa=0.5)
    assert bench.alarms("lost") == []
    bench.command(3.0, Verb.START)
    bench.advance(10.0)
    assert bench.alarms("lost") == [(5.0, "UNACKNOWLEDGED")]


@pytest.mark.parametrize(("good_s", "is_watched"), [(59, False), (62, True)])
def test_idle_is_watched_after_a_minute_of_good_air(good_s: int, is_watched: bool) -> None:
    bench = Bench(station())
    running(bench, 0, good_s, pulse=False)
    assert bench.watch.snapshot().air_armed is is_watched
    bench.stream(good_s, good_s + 5, 0.2, hood_pressure_pa=0.5)
    assert bench.raised() == (["lost"] if is_watched else [])


def test_a_switch_off_after_an_end_is_silent() -> None:
    bench = Bench(station())
    bench.command(0.0, Verb.START)
    running(bench, 0, 100, pulse=False)
    bench.command(100.0, Verb.END)
    running(bench, 100, 300, pulse=False)
    bench.stream(300.0, 400.0, 0.2, hood_pressure_pa=0.5)
    assert bench.raised() == []


def test_after_an_end_it_arms_only_when_the_fan_was_off_in_between() -> None:
    bench = Bench(station())
    running(bench, 0, 70, pulse=False)
    bench.command(70.0, Verb.END)
    running(bench, 70, 200, pulse=False)
    assert not bench.watch.snapshot().air_armed
    bench.stream(200.0, 203.0, 0.2, hood_pressure_pa=0.5)
    running(bench, 203, 270, pulse=False)
    assert bench.watch.snapshot().air_armed


def test_service_watches_nothing() -> None:
    bench = Bench(station())
    running(bench, 0, 70, pulse=False)
    bench.command(70.0, Verb.SERVICE)
    bench.stream(70.0, 100.0, 0.2, hood_pressure_pa=0.5)
    assert bench.raised() == []


def test_out_with_the_air_lost_comes_back_only_on_entering() -> None:
    bench = Bench(station())
    bench.command(0.0, Verb.START)
    bench.stream(0.0, 10.0, 0.2, hood_pressure_pa=0.5)
    bench.command(10.0, Verb.OUT)
    bench.stream(10.0, 100.0, 0.2, hood_pressure_pa=0.5)
    assert bench.alarms("lost") == [(2.0, "UNACKNOWLEDGED"), (10.0, "SUPPRESSED")]
    bench.command(100.0, Verb.START)
    assert bench.alarms("lost")[2:] == [(100.0, "UNACKNOWLEDGED")]


def test_out_ends_when_the_air_returns() -> None:
    bench = Bench(station())
    bench.command(0.0, Verb.START)
    bench.stream(0.0, 10.0, 0.2, hood_pressure_pa=0.5)
    bench.command(10.0, Verb.OUT)
    running(bench, 10, 30, pulse=False)
    assert bench.state("lost") == "NORMAL"


def test_blindness_counts_from_the_start_of_the_use() -> None:
    blind = rule(Stale((HOOD,), 10 * S), id="blind", loss_of_air=True, killer=True)
    bench = Bench(station(blind))
    bench.advance(100.0)
    bench.command(100.0, Verb.START)
    bench.advance(200.0)
    assert bench.alarms("blind") == [(110.0, "UNACKNOWLEDGED")]


# Refusals say why
REFUSALS = [
    ([], (Verb.ACKNOWLEDGE, By.WEARER), "nothing waits for an answer"),
    ([], (Verb.RESET, By.WEARER), "nothing has been answered and is over"),
    ([], (Verb.PAUSE_SOUND, By.WEARER), "a pause lasts up to 120 s"),
    ([], (Verb.HELP, By.WEARER), "this station has no rule for a call for help"),
    (
        [(Verb.START, By.WEARER)],
        (Verb.END, By.REMOTE),
        "while the hood is worn only the wearer can ask for end",
    ),
    ([(Verb.START, By.WEARER)], (Verb.START, By.WEARER), "the stage is worn already"),
    (
        [(Verb.START, By.WEARER)],
        (Verb.SERVICE, By.WEARER),
        "the hood is worn; end the use first",
    ),
]


@pytest.mark.parametrize(("before", "command", "why"), REFUSALS)
def test_a_refusal_says_why_and_changes_nothing(
    before: list[tuple[Verb, By]], command: tuple[Verb, By], why: str
) -> None:
    bench = Bench(station())
    for verb, by in before:
        bench.command(0.0, verb, by)
    said = list(bench.said)
    assert bench.command(1.0, *command) == why
    assert bench.said == said
