"""Ordinary use: drawn by chance, the same for the same seed, and quiet."""

from itertools import pairwise

import msgspec
import pytest

from linetender.core.plan import Below
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped
from linetender.simulation.knobs import fault_of_turn
from linetender.simulation.lived_hours import FalseAlarm, Hours, live
from linetender.simulation.ordinary_use import HABITS, ordinary_use
from linetender.simulation.scenario import LINES, LineFigures

S = 1_000_000_000


def test_deeds_come_in_order_and_turn_knobs_within_their_ranges() -> None:
    deeds = ordinary_use(1, 120.0, 3500.0)
    assert all(after.at_ns >= before.at_ns for before, after in pairwise(deeds))
    turns = [deed.turn for deed in deeds]
    assert [fault_of_turn(turn.knob, turn.to, turn.over_s) for turn in turns] == [None] * len(turns)
    assert deeds[0].at_ns >= 120 * S


def test_an_hour_is_its_seed() -> None:
    assert ordinary_use(1, 120.0, 3500.0) == ordinary_use(1, 120.0, 3500.0)
    assert ordinary_use(1, 120.0, 3500.0) != ordinary_use(2, 120.0, 3500.0)


def test_every_habit_shows_in_a_few_hours() -> None:
    seen = {deed.what for seed in range(5) for deed in ordinary_use(seed, 120.0, 3500.0)}
    assert {habit.what for habit in HABITS} <= seen


@pytest.mark.parametrize("first", range(1, 21, 5))
@pytest.mark.parametrize("station", ["wearer_side", "fan_side"])
def test_twenty_hours_of_ordinary_use_on_each_side_are_quiet(station: str, first: int) -> None:
    plan = load_station(shipped(f"config/scenarios/stations/{station}.toml")).plan
    lived = live(plan, LINES.get(station, LineFigures()), 5, first)
    assert (lived.hours, lived.leaves, lived.looks) == (5, [], [])


def test_a_limit_that_is_too_tight_is_told_with_what_was_going_on() -> None:
    plan = load_station(shipped("config/scenarios/stations/wearer_side.toml")).plan
    rules = tuple(
        msgspec.structs.replace(rule, condition=msgspec.structs.replace(rule.condition, limit=90.0))
        if rule.id == "air_lost" and isinstance(rule.condition, Below)
        else rule
        for rule in plan.rules
    )
    lived = live(msgspec.structs.replace(plan, rules=rules), LineFigures(), hours=2)
    assert lived.hours == 2
    assert {false.rule for false in lived.leaves} == {"air_lost"}
    assert all("air_lost at" in false.text and " at " in false.text for false in lived.leaves)
    assert any("gust at" in false.text for false in lived.leaves)


def test_hours_add_up() -> None:
    false = FalseAlarm(3, 12.0, "air_lost", "60.0", ())
    hours, more = Hours(1, [false], []), Hours(2, [], [false])
    hours.add(more)
    assert hours == Hours(3, [false], [false])
    assert false.text == "hour 3, 12.0 s: air_lost at 60.0 while: nothing"
