"""What is sounded, shown and said, and who is told when."""

from itertools import pairwise

import pytest

from core.watching import NORMAL_PA, Bench, plan, rule
from linetender.core.events import Demand, Sound
from linetender.core.inputs import By, ContactState, Verb
from linetender.core.instants import SECOND_NS as S
from linetender.core.instants import from_seconds
from linetender.core.plan import Below, CheckInPlan, OnContact, OnFact, Plan, RulePlan
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage

SPO2, HOOD = Signal.SPO2_PERCENT, Signal.HOOD_PRESSURE_PA
LOW, MEDIUM, HIGH = Priority.LOW, Priority.MEDIUM, Priority.HIGH
SILENT = Sound.SILENT
KILLER = rule(
    OnContact("fan_mains", "open"),
    id="killer",
    priority=HIGH,
    killer=True,
    latching=True,
    realarm_s=15,
)


def fact_rule(name: str, priority: Priority, **more: object) -> RulePlan:
    """Return a rule that a fact of the same name makes present."""
    return rule(OnFact(name), id=name, priority=priority, **more)  # type: ignore[arg-type]


def station(*rules: RulePlan, **more: object) -> Plan:
    """Return a station with two contacts."""
    return plan(*rules, contact_names=("ann", "bob"), **more)  # type: ignore[arg-type]


def reached(bench: Bench) -> list[tuple[float, str, str, tuple[str, ...]]]:
    """Return (second, local sound, sound at second boxes, contacts told) of each demand."""
    return [(at_s, d.sound.value, d.far.value, d.tell) for at_s, d in bench.demands()]


BOTH = ("ann", "bob")

# Who hears what of a HIGH alarm that nobody answers, from its raise at 10 s on.
WHO_WHEN = [
    ("worn, killer: all at once", True, Stage.WORN, [(10.0, "high", "high", BOTH)]),
    (
        "worn, no killer: box after 15 s, contacts after 60 s",
        False,
        Stage.WORN,
        [
            (10.0, "high", "silent", ()),
            (25.0, "high", "high", ()),
            (70.0, "high", "high", BOTH),
        ],
    ),
    (
        "pre-use, killer: the box after 15 s, nobody else",
        True,
        Stage.PRE_USE,
        [(10.0, "high", "silent", ()), (25.0, "high", "high", ())],
    ),
    (
        "idle, killer: the same",
        True,
        Stage.IDLE,
        [(10.0, "high", "silent", ()), (25.0, "high", "high", ())],
    ),
]


@pytest.mark.parametrize(
    ("killer", "stage", "expected"),
    [case[1:] for case in WHO_WHEN],
    ids=[case[0] for case in WHO_WHEN],
)
def test_who_is_told_when(
    killer: bool, stage: Stage, expected: list[tuple[float, str, str, tuple[str, ...]]]
) -> None:
    bench = Bench(station(fact_rule("alarm", HIGH, killer=killer)))
    verbs = {Stage.WORN: Verb.START, Stage.PRE_USE: Verb.PRE_USE}
    if stage in verbs:
        bench.command(0.0, verbs[stage])
    bench.fact(10.0, "alarm", True)
    bench.advance(170.0)
    assert reached(bench) == expected


@pytest.mark.parametrize("priority", [LOW, MEDIUM])
def test_a_look_calls_nobody(priority: Priority) -> None:
    bench = Bench(station(fact_rule("look", priority)))
    bench.command(0.0, Verb.START)
    bench.fact(10.0, "look", True)
    bench.advance(1000.0)
    word = priority.value
    assert reached(bench) == [(10.0, word, "silent", ()), (25.0, word, word, ())]


def test_a_call_ends_with_the_condition_gone_and_an_answer() -> None:
    bench = Bench(station(KILLER))
    bench.command(0.0, Verb.START)
    bench.contact(10.0, "fan_mains", ContactState.OPEN)
    bench.press(12.0)
    assert bench.demand.tell == BOTH
    bench.contact(13.0, "fan_mains", ContactState.CLOSED)
    assert bench.demand.tell == ()
    assert bench.state("killer") == "LATCHED_ACKNOWLEDGED"


def test_air_back_without_an_answer_goes_on_calling() -> None:
    bench = Bench(station(KILLER))
    bench.command(0.0, Verb.START)
    bench.contact(10.0, "fan_mains", ContactState.OPEN)
    bench.contact(13.0, "fan_mains", ContactState.CLOSED)
    bench.advance(100.0)
    assert (bench.demand.sound, bench.demand.tell) == (Sound.HIGH, BOTH)
    bench.press(101.0)
    assert (bench.demand.sound, bench.demand.tell) == (SILENT, ())


def test_a_deliberate_out_ends_the_call() -> None:
    bench = Bench(station(KILLER))
    bench.command(0.0, Verb.START)
    bench.contact(10.0, "fan_mains", ContactState.OPEN)
    bench.command(12.0, Verb.OUT)
    assert (bench.demand.sound, bench.demand.far, bench.demand.tell) == (SILENT, SILENT, ())


def test_an_end_also_answers_a_killer_that_is_over_but_still_sounds() -> None:
    bench = Bench(station(KILLER))
    bench.command(0.0, Verb.START)
    bench.contact(10.0, "fan_mains", ContactState.OPEN)
    bench.contact(13.0, "fan_mains", ContactState.CLOSED)
    assert bench.state("killer") == "LATCHED"
    bench.command(14.0, Verb.END)
    assert bench.stages()[-1] == (14.0, Stage.IDLE, "wearer, out")
    assert (bench.state("killer"), bench.demand.sound) == ("NORMAL", SILENT)


def test_a_rule_may_name_whom_it_calls() -> None:
    bench = Bench(station(fact_rule("alarm", HIGH, killer=True, calls=("cleo",)), KILLER))
    bench.command(0.0, Verb.START)
    bench.fact(1.0, "alarm", True)
    assert bench.demand.tell == ("cleo",)
    bench.contact(2.0, "fan_mains", ContactState.OPEN)
    assert bench.demand.tell == ("cleo", "ann", "bob")


# Answers


@pytest.mark.parametrize(
    ("by", "quiets"), [(By.WEARER, True), (By.ATTENDANT, False), (By.REMOTE, False)]
)
def test_only_the_wearer_answers_a_killer(by: By, quiets: bool) -> None:
    bench = Bench(station(KILLER))
    bench.command(0.0, Verb.START)
    bench.contact(1.0, "fan_mains", ContactState.OPEN)
    why = bench.command(2.0, Verb.ACKNOWLEDGE, by, shown=1)
    assert (why is None) is quiets
    assert (bench.demand.sound is SILENT) is quiets
    if not quiets:
        assert why == "only the wearer can answer this alarm"


def test_a_killer_is_never_quiet_for_more_than_15_s_while_worn() -> None:
    """However often it is answered."""
    bench = Bench(station(KILLER))
    bench.command(0.0, Verb.START)
    bench.contact(1.0, "fan_mains", ContactState.OPEN)
    for turn in range(40):
        at_s = 2.0 + turn * 1.7
        bench.advance(at_s)
        shown = bench.watch.snapshot().n
        bench.command(at_s, Verb.ACKNOWLEDGE, shown=shown)
        bench.command(at_s, Verb.PAUSE_SOUND, duration_ns=120 * S)
        bench.command(at_s, Verb.RESET)
    bench.advance(100.0)
    sounds = [(at_s, demand.sound is not SILENT) for at_s, demand in bench.demands()]
    quiet = [
        later - earlier for (earlier, is_heard), (later, _) in pairwise(sounds) if not is_heard
    ]
    assert quiet
    assert max(quiet) <= 15.0


# Pause


def test_a_pause_silences_only_the_look_that_sounds_and_ends_by_itself() -> None:
    bench = Bench(
        station(fact_rule("look", MEDIUM), fact_rule("other", MEDIUM), fact_rule("leave", HIGH))
    )
    bench.fact(0.0, "look", True)
    assert bench.command(1.0, Verb.PAUSE_SOUND, By.REMOTE, duration_ns=60 * S) is None
    assert (bench.demand.sound, bench.demand.light) == (SILENT, MEDIUM)
    bench.fact(10.0, "other", True)
    assert bench.demand.rule == "other"
    bench.fact(11.0, "other", False)
    assert bench.demand.sound is SILENT
    bench.fact(12.0, "leave", True)
    assert bench.demand.sound is Sound.HIGH
    bench.fact(13.0, "leave", False)
    bench.advance(60.9)
    assert bench.demand.sound is SILENT
    bench.advance(61.0)
    assert (bench.demand.sound, bench.demand.rule) == (Sound.MEDIUM, "look")


@pytest.mark.parametrize(
    ("duration_s", "is_refused"), [(0, True), (-1, True), (1, False), (120, False), (121, True)]
)
def test_a_pause_is_bounded(duration_s: int, is_refused: bool) -> None:
    bench = Bench(station(fact_rule("look", MEDIUM)))
    bench.fact(0.0, "look", True)
    why = bench.command(1.0, Verb.PAUSE_SOUND, duration_ns=duration_s * S)
    assert (why is not None) is is_refused
    assert (bench.demand.sound is SILENT) is not is_refused


def test_a_leave_cannot_be_paused() -> None:
    bench = Bench(station(fact_rule("alarm", HIGH)))
    bench.fact(0.0, "alarm", True)
    why = bench.command(1.0, Verb.PAUSE_SOUND, duration_ns=60 * S)
    assert why == "no LOOK alarm sounds; a LEAVE alarm cannot be paused"
    assert bench.demand.sound is Sound.HIGH


# Which alarm leads


def test_the_highest_leads_then_the_killer_then_the_latest() -> None:
    bench = Bench(
        station(
            fact_rule("low", LOW),
            fact_rule("first", MEDIUM),
            fact_rule("second", MEDIUM),
            fact_rule("high", HIGH),
            fact_rule("deadly", HIGH, killer=True),
            fact_rule("later", HIGH),
        )
    )
    leads = []
    for second, name in enumerate(("first", "low", "second", "high", "deadly", "later")):
        bench.fact(float(second), name, True)
        leads.append(bench.demand.rule)
    assert leads == ["first", "first", "second", "high", "deadly", "deadly"]
    assert bench.demand.say == "deadly speaks."


def test_a_short_condition_still_owes_its_burst() -> None:
    """IEC 60601-1-8, 6.10: the count tells the sounder, however short the alarm was."""
    bench = Bench(station(fact_rule("look", MEDIUM)))
    for turn in range(3):
        bench.fact(turn * 40.0, "look", True)
        bench.fact(turn * 40.0 + 0.001, "look", False)
    assert [(d.burst, d.sound) for _, d in bench.demands()] == [
        (1, Sound.MEDIUM),
        (1, SILENT),
        (2, Sound.MEDIUM),
        (2, SILENT),
        (3, Sound.MEDIUM),
        (3, SILENT),
    ]


def test_the_light_stays_while_an_answered_condition_does() -> None:
    bench = Bench(station(fact_rule("alarm", HIGH)))
    bench.fact(0.0, "alarm", True)
    bench.command(1.0, Verb.ACKNOWLEDGE, shown=1)
    assert (bench.demand.sound, bench.demand.light) == (SILENT, HIGH)
    bench.fact(2.0, "alarm", False)
    assert bench.demand == Demand(burst=1)


def test_a_check_in_is_announced_by_ticks() -> None:
    bench = Bench(station(check_in=CheckInPlan(60 * S, 30 * S)))
    bench.command(0.0, Verb.START)
    bench.advance(35.0)
    assert [(at_s, d.sound) for at_s, d in bench.demands()] == [(30.0, Sound.TICKS)]
    bench.press(40.0)
    assert bench.demand.sound is SILENT


def test_a_repeated_loss_of_air_in_idle_is_for_the_room_and_one_press_ends_it() -> None:
    lost = rule(
        Below(HOOD, 20.0), priority=HIGH, killer=True, latching=True, loss_of_air=True, realarm_s=15
    )
    bench = Bench(station(lost, air=True))
    bench.stream(0.0, 70.0, 0.5, hood_pressure_pa=NORMAL_PA)
    bench.good(70.0, HOOD, 5.0)
    bench.advance(100.0)
    assert reached(bench) == [(70.0, "high", "silent", ()), (85.0, "high", "high", ())]
    bench.press(100.0)
    assert reached(bench)[2:] == [(100.0, "silent", "silent", ())]
    assert bench.watch.next_deadline() is None or bench.watch.next_deadline() > from_seconds(100.0)
