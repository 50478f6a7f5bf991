"""How a fall of the air looks, second by second, and what it is taken for."""

import pytest

from linetender.core.air_pattern import Pattern, pattern_of
from linetender.core.cause_table import Pace

USUAL = [100.0, 99.0, 101.0, 100.0]
# A fan that runs down: 100 / (1 + t / 3 s).
RUNS_DOWN = [100.0 / (1.0 + second / 3.0) for second in range(1, 20)]
CASES = [
    (USUAL, Pace.STEADY),
    ([*USUAL, 93.0], Pace.STEADY),
    ([*USUAL, 115.0, 130.0], Pace.RISING),
    ([*USUAL, 60.0, 20.0, 20.5, 19.5], Pace.SUDDEN),
    ([*USUAL, 96.0, 34.0, 32.0], Pace.SUDDEN),
    ([*USUAL, 76.0, 75.5, 77.0, 76.0], Pace.SUDDEN),
    ([*USUAL, 77.0, 10.0, 0.0, 9.0, 12.0, 3.0], Pace.SUDDEN),
    ([*USUAL, *RUNS_DOWN[:4]], Pace.COASTING),
    ([*USUAL, *RUNS_DOWN[:8]], Pace.COASTING),
    ([*USUAL, *RUNS_DOWN], Pace.COASTING),
    ([*USUAL, 85.0, 70.0, 58.0, 50.0, 45.0, 44.0, 45.0, 44.5, 44.0], Pace.SETTLED),
    ([100.0 - second for second in range(30)], Pace.SLOW),
    ([85.0] * 40, Pace.SLOW),
    ([85.0] * 30 + [40.0, 12.0, 12.0], Pace.SUDDEN),
    # Nearly shut: what is left goes up and down with the breath.
    ([*USUAL, 60.0, 14.0, 5.0, 7.0, 14.0, 9.0, 4.0], Pace.SUDDEN),
    # In a slow loss the hose was stepped on for a moment: the way back is no fall.
    ([100.0 - second for second in range(36)] + [85.0, 62.0, 61.0, 60.0], Pace.SLOW),
    # After a restart: the tail of a fall that nobody saw, and falls that were seen after it.
    ([18.0, 17.0, 16.0, 15.0], Pace.UNSEEN),
    ([8.0, 34.0, 59.0], Pace.UNSEEN),  # the station was started anew, and the air comes back
    ([40.0] * 10, Pace.UNSEEN),
    ([70.0, 55.0, 45.0, 38.0], Pace.COASTING),
    ([85.0, 84.0, 82.0, 81.0, 79.0, 77.0, 75.0, 73.0, 71.0, 69.0], Pace.SLOW),
    # A nudge on top of a slow loss that was greater.
    ([75.0] * 37 + [62.0, 61.0, 62.0], Pace.SLOW),
]


@pytest.mark.parametrize(("means", "pace"), CASES)
def test_pace(means: list[float], pace: Pace) -> None:
    pattern = pattern_of(means)
    assert pattern is not None
    assert pattern.pace is pace


def test_nothing_is_no_pattern() -> None:
    assert pattern_of([]) is None
    assert pattern_of([50.0]) == Pattern(Pace.UNSEEN, 50.0)


def test_the_level_is_where_it_settled_and_a_breath_shows() -> None:
    pattern = pattern_of([*USUAL, 60.0, 0.0, 8.0, 4.0, 0.0])
    assert pattern == Pattern(Pace.SUDDEN, 4.0, 2, breathes=True)
    assert pattern_of([*USUAL, 60.0, 1.0, 1.5, 1.0]) == Pattern(Pace.SUDDEN, 1.25, 2)
