"""Ordinary use, drawn by chance: what happens to a sound line and a well wearer in an hour.

No hazard among it: whoever tells LEAVE tells it falsely. How often each thing happens
is chosen, from what work in a small shop is like, and from no count.
"""

from collections.abc import Iterator
from random import Random
from typing import NamedTuple

from linetender.simulation.knobs import NS_PER_S, Knob
from linetender.simulation.script import Turn


class Habit(NamedTuple):
    """Something that happens now and then, and is over again.

    Attributes:
        what: In words.
        knob: What it turns.
        every_s: Mean time between two (s).
        low, high: Between which values it turns it.
        shortest_s, longest_s: How long it lasts (s).
        over_s: How long the turning takes (s).
        back: Where the knob goes afterwards.
    """

    what: str
    knob: Knob
    every_s: float
    low: float
    high: float
    shortest_s: float
    longest_s: float
    over_s: float = 0.3
    back: float = 0.0


HABITS = (
    Habit("hose bent by moving about", Knob.KINK, 60.0, 0.02, 0.15, 2.0, 20.0),
    Habit("hose stepped on for a moment", Knob.KINK, 900.0, 0.4, 0.8, 0.4, 1.2, 0.1),
    Habit("duct nudged", Knob.CRUSH, 300.0, 0.05, 0.3, 1.0, 30.0),
    Habit("breeze", Knob.WIND, 300.0, 0.5, 3.0, 60.0, 240.0, 20.0),
    Habit("gust", Knob.GUST, 600.0, 2.0, 7.0, 2.0, 5.0, 1.0),
    Habit("harder work", Knob.WORK, 400.0, 0.6, 1.2, 60.0, 240.0, 20.0, 0.576),
    Habit("busy hand", Knob.MOTION, 120.0, 0.1, 0.45, 10.0, 60.0),
    Habit("shaken hand", Knob.MOTION, 600.0, 0.5, 0.9, 3.0, 15.0),
    Habit("probe put right", Knob.FINGER_OUT, 1200.0, 1.0, 1.0, 3.0, 15.0, 0.0),
    Habit("sun on the line", Knob.WARMER, 1200.0, 3.0, 12.0, 300.0, 900.0, 120.0),
)


class Deed(NamedTuple):
    """One turn of a knob, in words why, and whether that is the end of it."""

    at_ns: int
    turn: Turn
    what: str
    is_over: bool = False


def ordinary_use(seed: int, from_s: float, until_s: float) -> list[Deed]:
    """Draw the deeds of one stretch of use.

    Args:
        seed: Another seed is another hour.
        from_s: Nothing happens before (s).
        until_s: Nothing begins afterwards (s).

    Returns:
        Deeds in order of time.
    """
    random = Random(f"ordinary use {seed}")
    deeds = [deed for habit in HABITS for deed in _times(habit, random, from_s, until_s)]
    loading = Turn(Knob.FILTER, random.uniform(1.0, 1.15), until_s - from_s)
    deeds.append(Deed(round(from_s * NS_PER_S), loading, "filter loading"))
    return sorted(deeds, key=lambda deed: deed.at_ns)


def _times(habit: Habit, random: Random, from_s: float, until_s: float) -> Iterator[Deed]:
    at_s = from_s + random.expovariate(1.0 / habit.every_s)
    while at_s < until_s:
        lasts_s = random.uniform(habit.shortest_s, habit.longest_s)
        to = random.uniform(habit.low, habit.high)
        ends_s = at_s + habit.over_s + lasts_s
        over = f"{habit.what} is over"
        yield Deed(round(at_s * NS_PER_S), Turn(habit.knob, to, habit.over_s), habit.what)
        yield Deed(round(ends_s * NS_PER_S), Turn(habit.knob, habit.back, habit.over_s), over, True)
        at_s = ends_s + habit.over_s + random.expovariate(1.0 / habit.every_s)
