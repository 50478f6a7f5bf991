"""What a press of the one button means, alone and in every stage."""

import pytest

from core.watching import NORMAL_PA, Bench, plan, rule
from linetender.core.events import Sound
from linetender.core.hands import Hands, Meaning
from linetender.core.inputs import ContactState, Verb
from linetender.core.instants import NEVER_NS, from_seconds
from linetender.core.instants import SECOND_NS as S
from linetender.core.plan import Below, Held, OnContact
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage

SPO2 = Signal.SPO2_PERCENT
HOOD = Signal.HOOD_PRESSURE_PA
LOOK = rule(Below(SPO2, 90.0), id="look")
KILLER = rule(
    Below(SPO2, 85.0), id="killer", priority=Priority.HIGH, killer=True, latching=True, realarm_s=15
)
HELP = rule(
    Held("answer", 2 * S),
    id="help",
    priority=Priority.HIGH,
    latching=True,
    killer=True,
    realarm_s=15,
)

# (second, something sounds, there is something to end) of each press, and what it means.
GRAMMAR = [
    ("idle: a step", [(1.0, False, False)], "step"),
    ("anything that sounds: an answer", [(1.0, True, True)], "answer"),
    ("worn: asks", [(1.0, False, True)], "asks"),
    ("before the ticks: taken back", [(1.0, False, True), (3.999, False, True)], "asks takes_back"),
    ("at the first tick: ends", [(1.0, False, True), (4.0, False, True)], "asks ends"),
    ("at the last tick: ends", [(1.0, False, True), (10.999, False, True)], "asks ends"),
    ("after the ticks: asks anew", [(1.0, False, True), (11.0, False, True)], "asks asks"),
    (
        "taken back, then a third asks anew",
        [(1.0, False, True), (2.0, False, True), (5.0, False, True)],
        "asks takes_back asks",
    ),
    (
        "an answer drops the question",
        [(1.0, False, True), (5.0, True, True), (6.0, False, True)],
        "asks answer asks",
    ),
]


@pytest.mark.parametrize(
    ("presses", "meanings"), [case[1:] for case in GRAMMAR], ids=[case[0] for case in GRAMMAR]
)
def test_grammar(presses: list[tuple[float, bool, bool]], meanings: str) -> None:
    hands = Hands()
    said = [
        hands.press(from_seconds(at_s), sounds=sounds, can_end=can_end)
        for at_s, sounds, can_end in presses
    ]
    assert said == [Meaning(word) for word in meanings.split()]


def test_the_ticks_last_from_3_to_10_s_after_the_press() -> None:
    bench = Bench(plan(HELP))
    bench.command(0.0, Verb.START)
    bench.press(1.0)
    bench.advance(60.0)
    assert [(at_s, demand.sound) for at_s, demand in bench.demands()] == [
        (4.0, Sound.TICKS),
        (11.0, Sound.SILENT),
    ]
    assert bench.watch.hands.ticks(from_seconds(60.0)) is False
    Hands().close()
    assert Hands().asked_ns == NEVER_NS


def test_one_press_among_the_ticks_ends_the_use() -> None:
    bench = Bench(plan(HELP))
    bench.command(0.0, Verb.START)
    bench.press(1.0)
    bench.press(5.0)
    assert bench.stages()[-1] == (5.0, Stage.IDLE, "button")
    assert bench.demand.sound is Sound.SILENT


@pytest.mark.parametrize("presses", [[1.0], [1.0, 2.0], [1.0, 12.0], [1.0, 2.0, 3.0]])
def test_nothing_else_ends_it(presses: list[float]) -> None:
    bench = Bench(plan(HELP))
    bench.command(0.0, Verb.START)
    for at_s in presses:
        bench.press(at_s)
    bench.advance(30.0)
    assert bench.stage is Stage.WORN


@pytest.mark.parametrize(("after_s", "state"), [(0.299, "UNACKNOWLEDGED"), (0.3, "ACKNOWLEDGED")])
def test_a_press_answers_what_is_at_least_a_third_of_a_second_old(
    after_s: float, state: str
) -> None:
    bench = Bench(plan(LOOK))
    bench.command(0.0, Verb.START)
    bench.good(1.0, SPO2, 88.0)
    bench.press(1.0 + after_s)
    assert bench.state("look") == state


def test_a_press_answers_all_that_sounds_and_nothing_newer() -> None:
    bench = Bench(plan(LOOK, KILLER, rule(OnContact("fan_mains", "open"), id="mains")))
    bench.command(0.0, Verb.START)
    bench.good(1.0, SPO2, 80.0)
    bench.contact(2.0, "fan_mains", ContactState.OPEN)
    bench.press(2.1)
    states = [bench.state(name) for name in ("look", "killer", "mains")]
    assert states == ["ACKNOWLEDGED", "ACKNOWLEDGED", "UNACKNOWLEDGED"]


def test_an_answered_killer_can_be_ended_as_out_within_its_quiet() -> None:
    bench = Bench(plan(KILLER))
    bench.command(0.0, Verb.START)
    bench.good(1.0, SPO2, 80.0)
    bench.press(2.0)
    bench.press(3.0)
    bench.press(7.0)
    assert bench.stages()[-1] == (7.0, Stage.IDLE, "button, out")
    assert bench.state("killer") == "SUPPRESSED"
    bench.advance(1000.0)
    assert bench.demand.sound is Sound.SILENT


def test_without_a_second_press_the_killer_sounds_again_after_15_s() -> None:
    bench = Bench(plan(KILLER))
    bench.command(0.0, Verb.START)
    bench.good(1.0, SPO2, 80.0)
    bench.press(2.0)
    bench.press(3.0)
    bench.advance(100.0)
    assert bench.alarms("killer")[2:] == [(17.0, "UNACKNOWLEDGED")]


def test_held_for_two_seconds_calls_for_help_in_every_stage() -> None:
    for verb in (None, Verb.PRE_USE, Verb.START, Verb.SERVICE):
        bench = Bench(plan(HELP))
        if verb:
            bench.command(0.0, verb)
        bench.press(1.0, held_s=2.5)
        assert bench.raised() == ["help"], verb
        assert bench.demand.sound is Sound.HIGH


def test_a_broken_wire_is_no_press() -> None:
    bench = Bench(plan(HELP))
    bench.contact(1.0, "answer", ContactState.BROKEN)
    bench.advance(10.0)
    assert bench.said == []


def test_a_driver_that_repeats_its_state_presses_once() -> None:
    bench = Bench(plan(KILLER))
    bench.contact(1.0, "answer", ContactState.CLOSED)
    bench.contact(2.0, "answer", ContactState.CLOSED)
    bench.contact(2.5, "answer", ContactState.OPEN)
    bench.contact(3.5, "answer", ContactState.OPEN)
    assert bench.stages() == [(1.0, Stage.PRE_USE, "button")]


def test_without_an_end_a_switch_off_sounds_and_one_press_stops_it() -> None:
    lost = rule(
        Below(Signal.AIR_PERCENT_OF_BASELINE, 65.0),
        id="lost",
        on_s=2,
        priority=Priority.HIGH,
        latching=True,
        killer=True,
        loss_of_air=True,
        realarm_s=15,
    )
    bench = Bench(plan(lost, air=True))
    bench.stream(0.0, 70.0, 0.2, hood_pressure_pa=NORMAL_PA)
    bench.stream(70.0, 75.0, 0.2, hood_pressure_pa=1.0)
    assert bench.alarms("lost") == [(72.0, "UNACKNOWLEDGED")]
    assert (bench.demand.sound, bench.demand.far, bench.demand.tell) == (
        Sound.HIGH,
        Sound.SILENT,
        (),
    )
    bench.press(75.0)
    bench.stream(76.0, 400.0, 0.2, hood_pressure_pa=0.0)
    assert bench.demand.sound is Sound.SILENT
    assert bench.raised() == ["lost"]
