"""The pre-use check of the smallest set-up: three presses, and under a minute of hands."""

import re

import pytest

from linetender.cli.scenario_play import Play, station_of_scenario
from linetender.core.events import StageChanged, StepChanged
from linetender.core.pre_use import WHOLE
from linetender.core.stages import Stage
from linetender.core.step_plan import StepKind
from linetender.simulation.knobs import Knob
from linetender.simulation.scenario import Scenario
from linetender.simulation.script import End, Script, Step, Tap, Turn, at, press

MOST_HANDS_ON_S = 60
"""What the check may ask of hands; the purge of two minutes runs beside it."""


def checked(card_s: float) -> Play:
    """Play a check in which switching the fan on and reading the card takes so long (s)."""
    presses: tuple[Step, ...] = (*press(2.0, "answer"), *press(2.0 + card_s, "answer"))
    steps = (
        *presses[:2],
        at(8.0, Turn(Knob.FAN, 1.0)),
        *presses[2:],
        at(60.0, Turn(Knob.HOOD, 1.0), when_heard=True),
        at(60.0, Tap("answer", 0.3), when_heard=True),
        at(300.0, End()),
    )
    name = "smallest"
    scenario = Scenario(
        name, "A check", "minimal", Script(steps), None, None, None, (), frozenset()
    )
    played = Play(scenario)
    played.run()
    return played


def test_the_smallest_set_up_has_few_steps() -> None:
    assert [step.kind for step in station_of_scenario("minimal").plan.steps] == [
        StepKind.CHECKLIST,
        StepKind.ZERO,
        StepKind.AIR,
        StepKind.PURGE,
        StepKind.LAMP,
        StepKind.HEARD,
    ]


@pytest.mark.parametrize("card_s", [20.0, 45.0])
def test_three_presses_make_it_ready_and_the_time_of_hands_is_kept(card_s: float) -> None:
    played = checked(card_s)
    taps = [
        event.step
        for event in played.events
        if isinstance(event, StepChanged) and event.why == "button"
    ]
    began = [event for event in played.events if isinstance(event, StageChanged)]
    assert [(event.after, event.why) for event in began] == [(Stage.PRE_USE, "button")]
    assert taps == ["checklist", "lamp", "heard"]  # one tap for the first two
    (whole,) = [e for e in played.events if isinstance(e, StepChanged) and e.step == WHOLE]
    hands_s = int(re.fullmatch(r"(\d+) s hands-on", whole.why)[1])  # type: ignore[index]
    # From the first tap to the second, and from the test sound to the third, 2 s after it.
    assert hands_s == round(card_s + 2.0)
    assert hands_s <= MOST_HANDS_ON_S
