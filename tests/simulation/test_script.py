"""Scripts are data in order; the demo's is the one that was promised."""

import msgspec
import pytest

from linetender.core.inputs import Verb
from linetender.simulation.demo_scenario import DEMO_SCRIPT, FAN_STOPS_S
from linetender.simulation.knobs import Knob
from linetender.simulation.script import (
    Button,
    End,
    Order,
    PowerCut,
    Script,
    Step,
    Tap,
    Turn,
    at,
    press,
)


def test_the_demo() -> None:
    told = [(step.at_ns / 1e9, step.action) for step in DEMO_SCRIPT.steps]
    assert told == [
        (0.0, Turn(Knob.FAN, 1.0)),
        (10.0, Turn(Knob.HOOD, 1.0)),
        (10.0, Order.START),
        (45.0, Turn(Knob.CRUSH, 0.5)),
        (57.0, Turn(Knob.CRUSH, 0.0)),
        (FAN_STOPS_S, Turn(Knob.FAN, 0.0)),
        (77.0, Button("answer", pressed=True)),
        (77.3, Button("answer", pressed=False)),
        (84.0, Turn(Knob.HOOD, 0.0)),
        (84.0, Order.OUT),
        (90.0, End()),
    ]
    assert DEMO_SCRIPT.end_ns == 90_000_000_000


def test_orders_speak_the_station_s_own_verbs() -> None:
    assert [Verb(order.value).name for order in Order] == [order.name for order in Order]


@pytest.mark.parametrize(
    ("steps", "message"),
    [
        ((), "needs one End"),
        ((at(1.0, Order.START),), "needs one End"),
        ((at(1.0, End()), at(2.0, End())), "needs one End"),
        ((at(1.0, End()), at(2.0, Order.START)), "needs one End"),
        ((at(2.0, Order.START), at(1.0, End())), "in order of time"),
    ],
)
def test_disorder_is_refused(steps: tuple[Step, ...], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Script(steps)


@pytest.mark.parametrize("seconds", [-0.1, float("nan"), float("inf")])
def test_no_such_instant(seconds: float) -> None:
    with pytest.raises(ValueError, match="before the beginning, or never"):
        at(seconds, End())


def test_a_press_is_two_steps() -> None:
    assert press(2.0, "answer", held_s=0.5) == (
        Step(2_000_000_000, Button("answer", True)),
        Step(2_500_000_000, Button("answer", False)),
    )


def test_structs_survive_json() -> None:
    for action in (
        Turn(Knob.CRUSH, 0.25),
        PowerCut(5.0),
        Button("answer", True),
        Tap("answer", 0.3),
        End(),
    ):
        text = msgspec.json.encode(action)
        assert msgspec.json.decode(text, type=Turn | PowerCut | Button | Tap | End) == action


@pytest.mark.parametrize(
    ("turn", "message"),
    [
        (Turn(Knob.CRUSH, 1.5), "crush of 1.5 is outside 0 to 1"),
        (Turn(Knob.FILTER, 0.5), "filter of 0.5 is outside 1 to 1000"),
        (Turn(Knob.FAN, 0.0, -1.0), "turning fan over -1.0 s is outside"),
        (Turn(Knob.FAN, float("nan")), "fan of nan is outside"),
    ],
)
def test_a_knob_out_of_its_range_is_refused(turn: Turn, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Script((at(1.0, turn), at(2.0, End())))
