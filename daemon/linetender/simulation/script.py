"""What happens in a scenario, as data: instants and deeds, in order."""

import math
from enum import StrEnum
from itertools import pairwise

import msgspec

from linetender.simulation.knobs import NS_PER_S, Knob, fault_of_turn


class Order(StrEnum):
    """A command that somebody gives to the station, in the words of its own verbs."""

    ACKNOWLEDGE = "acknowledge"
    RESET = "reset"
    PRE_USE = "pre_use"
    START = "start"
    END = "end"
    OUT = "out"


class Turn(msgspec.Struct, frozen=True, tag_field="is", tag="turn"):
    """A knob of the world is turned.

    Attributes:
        knob: Which.
        to: Its value at the end, in its own unit.
        over_s: How long that takes (s, >= 0).
    """

    knob: Knob
    to: float
    over_s: float = 0.0


class Button(msgspec.Struct, frozen=True, tag_field="is", tag="button"):
    """A hand presses a button or lets it go.

    Attributes:
        contact: The button's role in the station file, e.g. `answer`.
        pressed: Whether it is down from now on.
    """

    contact: str
    pressed: bool


class Tap(msgspec.Struct, frozen=True, tag_field="is", tag="tap"):
    """A hand presses a button and lets it go again.

    Attributes:
        contact: The button's role in the station file, e.g. `answer`.
        held_s: For so long (s, > 0).
    """

    contact: str
    held_s: float


class PowerCut(msgspec.Struct, frozen=True, tag_field="is", tag="power_cut"):
    """The box loses its power and comes back: the station was blind for so long (s, > 0)."""

    for_s: float


class End(msgspec.Struct, frozen=True, tag_field="is", tag="end"):
    """The scenario is over."""


Action = Turn | Order | Button | Tap | PowerCut | End


class Step(msgspec.Struct, frozen=True):
    """One deed.

    Attributes:
        at_ns: When, from the beginning of the scenario (ns, >= 0).
        action: What.
        when_heard: Whether the person waits, from that instant on, until the sounder begins.
    """

    at_ns: int
    action: Action
    when_heard: bool = False


def at(seconds: float, action: Action, *, when_heard: bool = False) -> Step:
    """Make a step from an instant in seconds (>= 0, finite)."""
    if not 0.0 <= seconds < math.inf:
        raise ValueError(f"a step at {seconds} s is before the beginning, or never")
    return Step(round(seconds * NS_PER_S), action, when_heard)


def press(seconds: float, contact: str, held_s: float = 0.3) -> tuple[Step, Step]:
    """Make the two steps of a press: down at an instant (s), up when it was held (s, > 0)."""
    return (
        at(seconds, Button(contact, pressed=True)),
        at(seconds + held_s, Button(contact, pressed=False)),
    )


class Script:
    """Steps in order of time, the last one an `End`.

    Args:
        steps: The deeds; those at the same instant happen in the order given.

    Attributes:
        steps: As given.
        end_ns: When it is over (ns).

    Raises:
        ValueError: A step is earlier than the one before it, turns a knob out of its
            range, or the script does not end with its one `End`.
    """

    def __init__(self, steps: tuple[Step, ...]) -> None:
        for before, after in pairwise(steps):
            if after.at_ns < before.at_ns:
                raise ValueError(
                    f"step at {after.at_ns / NS_PER_S} s ({after.action}) stands after the one "
                    f"at {before.at_ns / NS_PER_S} s: put the steps in order of time"
                )
        for step in steps:
            if isinstance(step.action, Turn):
                _check_turn(step.at_ns, step.action)
        ends = [step for step in steps if isinstance(step.action, End)]
        if len(ends) != 1 or ends[0] is not steps[-1]:
            raise ValueError("a script needs one End, as its last step")
        self.steps = steps
        self.end_ns = steps[-1].at_ns


def _check_turn(at_ns: int, turn: Turn) -> None:
    fault = fault_of_turn(turn.knob, turn.to, turn.over_s)
    if fault:
        raise ValueError(f"step at {at_ns / NS_PER_S} s: {fault}")
