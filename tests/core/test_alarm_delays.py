"""Comparator, then delay, then state; and everything that time does to an alarm."""

import random
from math import erfc, log, sqrt
from statistics import mean

import pytest

from core.watching import Bench, plan, rule
from linetender.core.events import AlarmChanged, Sound
from linetender.core.inputs import By, ContactState, Verb
from linetender.core.instants import SECOND_NS as S
from linetender.core.plan import Below, OnContact, OnFact, RisesTo
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage

SPO2 = Signal.SPO2_PERCENT
LOW = Below(SPO2, 90.0, 2.0)
HIGH, MEDIUM = Priority.HIGH, Priority.MEDIUM


# Raise under 90, clear at 92; on-delay 3 s, off-delay 2 s; one value a second: the whole life.
SEQUENCES = [
    ("under the limit for long enough", "95 89 89 89 89", [(4, "UNACKNOWLEDGED")]),
    ("not long enough", "95 89 89 92 95", []),
    ("over the limit but not clear: the delay runs on", "89 91 91 91 91", [(3, "UNACKNOWLEDGED")]),
    ("clear in between: it starts again", "89 92 89 91 90 91", [(5, "UNACKNOWLEDGED")]),
    ("a bad reading does not stop it", "89 bad bad bad", [(3, "UNACKNOWLEDGED")]),
    ("nor does a doubtful one", "89 95? 95? 95?", [(3, "UNACKNOWLEDGED")]),
    ("a doubtful one may start it", "95 89? 89? 89? 89?", [(4, "UNACKNOWLEDGED")]),
    ("and another, on the good side, stops that", "95 89? 89? 95? 89? 89? 89?", []),
    ("or in the deadband does not", "95 89? 91? 91? 91?", [(4, "UNACKNOWLEDGED")]),
    ("nor does a bad one", "95 89? bad 89? bad", [(4, "UNACKNOWLEDGED")]),
    ("it is stopped across a bad one", "95 89? bad 95? bad bad", []),
    ("what a good one sustained goes on", "89? 91 95? 95? 95?", [(3, "UNACKNOWLEDGED")]),
    ("what raised stays", "89? 89? 89? 89? 95? 95? 95? 95?", [(3, "UNACKNOWLEDGED")]),
    (
        "off-delay from the first clear value",
        "89 89 89 89 92 92 92",
        [(3, "UNACKNOWLEDGED"), (6, "RETURNED")],
    ),
    ("91 is not clear", "89 89 89 89 91 91 91 91", [(3, "UNACKNOWLEDGED")]),
    (
        "a bad reading restarts the off-delay",
        "89 89 89 89 92 bad 92 92 92",
        [(3, "UNACKNOWLEDGED"), (8, "RETURNED")],
    ),
    (
        "so does a doubtful one",
        "89 89 89 89 92 95? 92 92 92",
        [(3, "UNACKNOWLEDGED"), (8, "RETURNED")],
    ),
    (
        "and one that is low again",
        "89 89 89 89 92 89 92 92 92",
        [(3, "UNACKNOWLEDGED"), (8, "RETURNED")],
    ),
    (
        "and a gap of more than 5 s",
        "89 89 89 89 92 - - - - - 92 92 92",
        [(3, "UNACKNOWLEDGED"), (12, "RETURNED")],
    ),
    (
        "silence never ends it",
        "89 89 89 89 92 - - - - - - - - -",
        [(3, "UNACKNOWLEDGED")],
    ),
    (
        "it ends on the first good reading at or after it is due",
        "89 89 89 89 92 - - 92",
        [(3, "UNACKNOWLEDGED"), (7, "RETURNED")],
    ),
]


@pytest.mark.parametrize(
    ("values", "expected"), [case[1:] for case in SEQUENCES], ids=[case[0] for case in SEQUENCES]
)
def test_delays(values: str, expected: list[tuple[float, str]]) -> None:
    bench = Bench(plan(rule(LOW, on_s=3, off_s=2)))
    for second, word in enumerate(values.split()):
        if word == "bad":
            bench.bad(float(second), SPO2)
        elif word == "-":
            bench.advance(float(second))
        elif word.endswith("?"):
            bench.good(float(second), SPO2, float(word[:-1]), doubt="motion")
        else:
            bench.good(float(second), SPO2, float(word))
    assert bench.alarms() == expected


def test_a_raise_falls_due_before_the_reading_of_the_same_instant() -> None:
    bench = Bench(plan(rule(LOW, on_s=3)))
    bench.good(0.0, SPO2, 80.0)
    bench.good(3.0, SPO2, 99.0)
    assert bench.alarms() == [(3.0, "UNACKNOWLEDGED"), (3.0, "RETURNED")]


# The noisy-sample trap: 25 Hz, noise of 10 % of the limit, true value at 90 % of it.
LIMIT, DEADBAND, ON_S, RATE_HZ = 65.0, 10.0, 2.0, 25
TRUE, NOISE = 0.9 * LIMIT, 0.1 * LIMIT


def seconds_to_alarm(seed: int) -> float:
    """Return when the core raises on noisy samples (s)."""
    draw = random.Random(seed)
    bench = Bench(plan(rule(Below(SPO2, LIMIT, DEADBAND), on_s=ON_S)))
    sample = 0
    while not bench.alarms():
        bench.good(sample / RATE_HZ, SPO2, draw.gauss(TRUE, NOISE))
        sample += 1
    return bench.alarms()[0][0]


def seconds_to_alarm_in_the_other_order(draw: random.Random) -> float:
    """The same by an independent model that resets its delay at the raise limit.

    It draws lengths of runs of samples under the limit, and needs 50 in a row.
    """
    under = 1.0 - 0.5 * erfc((LIMIT - TRUE) / NOISE / sqrt(2.0))
    samples = 0
    while True:
        run = int(log(1.0 - draw.random()) / log(under))
        if run >= ON_S * RATE_HZ:
            return (samples + ON_S * RATE_HZ) / RATE_HZ
        samples += run + 1


def test_noise_does_not_keep_a_true_alarm_from_being_raised() -> None:
    """1 400 s to alarm in the other order: closed form (1 - p^n)/(p^n (1 - p)) / 25 Hz."""
    ours = [seconds_to_alarm(seed) for seed in range(40)]
    assert mean(ours) < 4.0
    assert max(ours) < 15.0
    draw = random.Random(7)
    other = mean(seconds_to_alarm_in_the_other_order(draw) for _ in range(300))
    p = 1.0 - 0.5 * erfc(1.0 / sqrt(2.0))
    n = ON_S * RATE_HZ
    closed = (1.0 - p**n) / (p**n * (1.0 - p)) / RATE_HZ
    assert closed == pytest.approx(1400.0, rel=0.03)
    assert abs(other - closed) < 4.0 * closed / sqrt(300)


# Rising


def test_the_priority_rises_with_time_and_sounds_anew_although_answered() -> None:
    bench = Bench(plan(rule(LOW, rises_to=RisesTo(HIGH, 30 * S), realarm_s=180)))
    bench.good(0.0, SPO2, 80.0)
    bench.command(10.0, Verb.ACKNOWLEDGE, shown=1)
    bench.advance(30.0)
    changes = [
        (e.due_ns // S, e.before.name, e.after.name, e.priority)
        for e in bench.said
        if isinstance(e, AlarmChanged)
    ]
    assert changes == [
        (0, "NORMAL", "UNACKNOWLEDGED", MEDIUM),
        (10, "UNACKNOWLEDGED", "ACKNOWLEDGED", MEDIUM),
        (30, "ACKNOWLEDGED", "UNACKNOWLEDGED", HIGH),
    ]
    assert bench.demand.sound is Sound.HIGH


def test_a_rise_while_unanswered_is_told_with_a_number_of_its_own() -> None:
    bench = Bench(plan(rule(LOW, rises_to=RisesTo(HIGH, 30 * S))))
    bench.good(0.0, SPO2, 80.0)
    bench.advance(30.0)
    changed = [event for event in bench.said if isinstance(event, AlarmChanged)]
    assert [(e.n, e.after.name, e.priority) for e in changed] == [
        (1, "UNACKNOWLEDGED", MEDIUM),
        (2, "UNACKNOWLEDGED", HIGH),
    ]


def test_an_alarm_that_cleared_does_not_rise() -> None:
    bench = Bench(plan(rule(LOW, rises_to=RisesTo(HIGH, 30 * S))))
    bench.good(0.0, SPO2, 80.0)
    bench.good(10.0, SPO2, 99.0)
    bench.advance(100.0)
    assert bench.alarms() == [(0.0, "UNACKNOWLEDGED"), (10.0, "RETURNED")]
    bench.good(101.0, SPO2, 80.0)
    assert bench.demand.light is MEDIUM


# Sounding again

REALARMS = [
    ("a killer", rule(LOW, priority=HIGH, killer=True, realarm_s=15), 15),
    ("another HIGH", rule(LOW, priority=HIGH, realarm_s=60), 60),
    ("MEDIUM", rule(LOW, realarm_s=180), 180),
    ("LOW", rule(LOW, priority=Priority.LOW, realarm_s=0), None),
]


@pytest.mark.parametrize(
    ("made", "quiet_s"), [case[1:] for case in REALARMS], ids=[case[0] for case in REALARMS]
)
def test_an_answered_alarm_sounds_again(made: object, quiet_s: int | None) -> None:
    bench = Bench(plan(made))  # type: ignore[arg-type]
    bench.good(0.0, SPO2, 80.0)
    bench.command(5.0, Verb.ACKNOWLEDGE, shown=1)
    assert bench.demand.sound is Sound.SILENT
    bench.advance(2000.0)
    expected = [] if quiet_s is None else [(5.0 + quiet_s, "UNACKNOWLEDGED")]
    assert bench.alarms()[2:] == expected


def test_an_alarm_that_rose_to_high_sounds_again_after_a_minute() -> None:
    bench = Bench(plan(rule(LOW, rises_to=RisesTo(HIGH, 10 * S), realarm_s=180)))
    bench.good(0.0, SPO2, 80.0)
    bench.advance(10.0)
    bench.command(20.0, Verb.ACKNOWLEDGE, shown=2)
    bench.advance(300.0)
    assert bench.alarms()[-1] == (80.0, "UNACKNOWLEDGED")


# Latching


def test_a_latching_alarm_sounds_until_answered_and_stays_until_reset() -> None:
    bench = Bench(plan(rule(LOW, latching=True)))
    bench.good(0.0, SPO2, 80.0)
    bench.good(1.0, SPO2, 99.0)
    assert (bench.state(), bench.demand.sound) == ("LATCHED", Sound.MEDIUM)
    assert bench.command(2.0, Verb.RESET) is not None
    assert bench.state() == "LATCHED"
    bench.command(3.0, Verb.ACKNOWLEDGE, shown=2)
    assert (bench.state(), bench.demand.sound) == ("LATCHED_ACKNOWLEDGED", Sound.SILENT)
    bench.stream(4.0, 1000.0, 1.0, spo2_percent=99.0)
    assert bench.state() == "LATCHED_ACKNOWLEDGED"
    assert bench.command(1000.0, Verb.RESET) is None
    assert bench.state() == "NORMAL"


def test_a_latched_alarm_sounds_again_when_its_condition_returns() -> None:
    bench = Bench(plan(rule(LOW, latching=True)))
    bench.good(0.0, SPO2, 80.0)
    bench.command(1.0, Verb.ACKNOWLEDGE, shown=1)
    bench.good(2.0, SPO2, 99.0)
    bench.good(3.0, SPO2, 80.0)
    assert [after for _, after in bench.alarms()] == [
        "UNACKNOWLEDGED",
        "ACKNOWLEDGED",
        "LATCHED_ACKNOWLEDGED",
        "UNACKNOWLEDGED",
    ]


# Suppression

LOST = rule(OnContact("fan_mains", "open"), id="lost", priority=HIGH, latching=True)


def test_a_suppressed_raise_waits_and_sounds_when_released() -> None:
    bench = Bench(plan(LOST, rule(LOW, suppressed_by=("lost",))))
    bench.contact(0.0, "fan_mains", ContactState.OPEN)
    bench.good(1.0, SPO2, 80.0)
    assert bench.state() == "SUPPRESSED"
    bench.command(2.0, Verb.ACKNOWLEDGE, shown=99)
    assert bench.state("lost") == "ACKNOWLEDGED"
    assert bench.state() == "SUPPRESSED"
    bench.contact(3.0, "fan_mains", ContactState.CLOSED)
    assert bench.alarms() == [(1.0, "SUPPRESSED"), (3.0, "UNACKNOWLEDGED")]


def test_a_suppressed_alarm_whose_condition_goes_is_over() -> None:
    bench = Bench(plan(LOST, rule(LOW, suppressed_by=("lost",))))
    bench.contact(0.0, "fan_mains", ContactState.OPEN)
    bench.good(1.0, SPO2, 80.0)
    bench.good(2.0, SPO2, 99.0)
    bench.contact(3.0, "fan_mains", ContactState.CLOSED)
    assert bench.alarms() == [(1.0, "SUPPRESSED"), (2.0, "NORMAL")]


def test_a_suppressed_alarm_is_not_released_while_only_its_off_delay_runs() -> None:
    bench = Bench(plan(LOST, rule(LOW, off_s=4, suppressed_by=("lost",))))
    bench.contact(0.0, "fan_mains", ContactState.OPEN)
    bench.stream(1.0, 3.0, 1.0, spo2_percent=89.0)
    bench.good(3.0, SPO2, 95.0)
    bench.contact(4.0, "fan_mains", ContactState.CLOSED)
    bench.good(5.0, SPO2, 95.0)
    assert bench.alarms() == [(1, "SUPPRESSED")]
    bench.good(6.0, SPO2, 89.0)
    assert bench.alarms() == [(1, "SUPPRESSED"), (6, "UNACKNOWLEDGED")]


def test_suppression_does_not_take_back_what_was_raised() -> None:
    bench = Bench(plan(LOST, rule(LOW, suppressed_by=("lost",))))
    bench.good(0.0, SPO2, 80.0)
    bench.contact(1.0, "fan_mains", ContactState.OPEN)
    assert bench.alarms() == [(0.0, "UNACKNOWLEDGED")]


def test_a_latched_alarm_that_returns_under_suppression_is_released_too() -> None:
    bench = Bench(plan(LOST, rule(LOW, latching=True, suppressed_by=("lost",))))
    bench.good(0.0, SPO2, 80.0)
    bench.command(1.0, Verb.ACKNOWLEDGE, shown=1)
    bench.good(2.0, SPO2, 99.0)
    bench.contact(3.0, "fan_mains", ContactState.OPEN)
    bench.good(4.0, SPO2, 80.0)
    bench.contact(5.0, "fan_mains", ContactState.CLOSED)
    assert bench.alarms()[2:] == [
        (2.0, "LATCHED_ACKNOWLEDGED"),
        (4.0, "SUPPRESSED"),
        (5.0, "UNACKNOWLEDGED"),
    ]


# Chatter and flood


def chattering(killer: bool) -> Bench:
    """Set and clear every 10 s for two minutes, then stay clear."""
    bench = Bench(plan(rule(LOW, priority=HIGH if killer else MEDIUM, killer=killer)))
    bench.stream(0.0, 120.0, 5.0, spo2_percent=[80.0, 99.0])
    bench.stream(120.0, 300.0, 1.0, spo2_percent=99.0)
    return bench


def test_a_chattering_alarm_is_held_and_says_so() -> None:
    bench = chattering(killer=False)
    assert bench.alarms() == [
        (0.0, "UNACKNOWLEDGED"),
        (5.0, "RETURNED"),
        (10.0, "UNACKNOWLEDGED"),
        (15.0, "RETURNED"),
        (20.0, "UNACKNOWLEDGED"),
        (175.0, "RETURNED"),
    ]
    whys = [event.why for event in bench.said if isinstance(event, AlarmChanged)]
    assert [why for why in whys if why == "chattering"] == ["chattering"]


def test_a_killer_is_never_held_for_chattering() -> None:
    assert chattering(killer=True).raised() == ["rule"] * 12


def flooded() -> Bench:
    """Raise twelve MEDIUM alarms within a minute."""
    rules = [rule(OnFact(f"fact_{n}"), id=f"rule_{n}") for n in range(12)]
    bench = Bench(plan(*rules, LOST))
    for n in range(12):
        bench.fact(n * 5.0, f"fact_{n}", True)
    return bench


def test_a_flood_is_said_with_a_look_and_hides_nothing() -> None:
    bench = flooded()
    says = list(dict.fromkeys(demand.say for _, demand in bench.demands()))
    assert says[:10] == [f"rule_{n} speaks." for n in range(10)]
    assert all(say.endswith("Many alarms at once: look at the station.") for say in says[10:])
    bench.contact(60.0, "fan_mains", ContactState.OPEN)
    assert (bench.demand.sound, bench.demand.say) == (Sound.HIGH, "lost speaks.")


def test_leaving_a_stage_stops_only_a_new_raise() -> None:
    bench = Bench(plan(rule(LOW, on_s=5, stages=(Stage.IDLE,))))
    bench.good(0.0, SPO2, 80.0)
    bench.command(3.0, Verb.START)
    bench.advance(100.0)
    assert bench.alarms() == []
    bench = Bench(plan(rule(LOW, on_s=2, stages=(Stage.IDLE,))))
    bench.good(0.0, SPO2, 80.0)
    bench.command(3.0, Verb.START)
    bench.advance(100.0)
    assert bench.alarms() == [(2.0, "UNACKNOWLEDGED")]


def test_an_answer_is_for_what_its_sender_saw() -> None:
    bench = Bench(plan(rule(LOW), rule(OnFact("full"), id="full")))
    bench.good(0.0, SPO2, 80.0)
    bench.fact(1.0, "full", True)
    assert bench.command(2.0, Verb.ACKNOWLEDGE, By.REMOTE, shown=1) is None
    assert (bench.state(), bench.state("full")) == ("ACKNOWLEDGED", "UNACKNOWLEDGED")
    assert bench.command(3.0, Verb.ACKNOWLEDGE, By.REMOTE, shown=1) is not None
