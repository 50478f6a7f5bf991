"""Ordinary use: drawn by chance, the same for the same seed, and quiet."""

from itertools import pairwise

import pytest

from linetender.settings.load import load_station
from linetender.settings.shipped import shipped
from linetender.simulation.knobs import fault_of_turn
from linetender.simulation.lived_hours import live
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


@pytest.mark.parametrize("station", ["wearer_side", "fan_side"])
def test_an_hour_of_ordinary_use_is_quiet(station: str) -> None:
    plan = load_station(shipped(f"config/scenarios/stations/{station}.toml")).plan
    lived = live(plan, LINES.get(station, LineFigures()), hours=1)
    assert (lived.hours, lived.leaves, lived.looks) == (1, [], [])


def test_a_weak_fan_in_a_gust_is_told_with_what_was_going_on() -> None:
    plan = load_station(shipped("config/scenarios/stations/wearer_side.toml")).plan
    lived = live(plan, LineFigures(filter_pa=1.0, duct_pa=1.0), hours=1)
    assert lived.leaves
    assert all("air_lost at" in text and "gust at" in text for text in lived.leaves)
