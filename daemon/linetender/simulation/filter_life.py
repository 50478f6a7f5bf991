"""The life of a filter, use by use: the same line as in `line.py`, and no time in between.

A projection is judged over hundreds of lives, each of hundreds of hours; second by second
that would take days. So a use is one balance of fan and line, seen with an error.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from random import Random

from linetender.airline.filter_history import FilterPoint
from linetender.simulation.line import Line, LineFigures, LineState

FITTED_S = 1_930_000_000.0
"""When each filter was fitted (s since 1970, UTC): a day in February 2031, invented."""

DAY_S = 86_400.0

FULL_SPEED_RPM = 2800.0
KINKED_PART = 0.05
"""In so many uses somebody stands on the hose (chosen): wild points."""

_BISECTIONS = 60


@dataclass(frozen=True)
class Habit:
    """How a line is used; all of it invented, and drawn anew for each life.

    Attributes:
        per_day: Probability that a day is one of use.
        hours: Median of its hours (h).
        doubles_h: Hours of use that add once the new filter's resistance (h).
        error: Relative standard deviation of a use's mean pressures.
        speeds: (hours of use, speed over full speed) from which on each fan speed holds.
    """

    per_day: float
    hours: float
    doubles_h: float
    error: float
    speeds: tuple[tuple[float, float], ...] = ((0.0, 1.0),)


def drawn_habit(random: Random, *, speed_changes: int) -> Habit:
    """Draw a habit with so many changes of the fan's speed."""
    doubles_h = random.uniform(60.0, 300.0)
    turns = sorted(random.uniform(0.05, 0.9) * doubles_h for _ in range(speed_changes))
    speeds = [(0.0, random.uniform(0.8, 1.0))]
    for turn in turns:
        factor = random.choice((0.8, 0.88, 1.12, 1.25))
        speeds.append((turn, min(1.3, max(0.6, speeds[-1][1] * factor))))
    return Habit(
        per_day=random.uniform(0.2, 0.7),
        hours=random.uniform(1.0, 3.0),
        doubles_h=doubles_h,
        error=random.uniform(0.003, 0.012),
        speeds=tuple(speeds),
    )


class FilterLife:
    """One filter on one line.

    Args:
        seed: The same seed gives the same life.
        habit: How the line is used.
        figures: The line; beside the fan where it has an orifice.
    """

    def __init__(self, seed: int, habit: Habit, figures: LineFigures | None = None) -> None:
        self.habit = habit
        self._random = Random(seed)
        self._figures = figures or LineFigures()
        self._line = Line(self._figures)
        self.hours = 0.0
        self.day = 0

    def uses(self) -> Iterator[FilterPoint]:
        """Yield what the station sees of use after use, for ever."""
        random, habit = self._random, self.habit
        while True:
            self.day += 1
            if random.random() >= habit.per_day:
                continue
            hours = habit.hours * math.exp(random.gauss(0.0, 0.4))
            middle_h = self.hours + hours / 2.0
            kink = random.uniform(0.1, 0.4) if random.random() < KINKED_PART else 0.0
            self.hours += hours
            began_s = FITTED_S + (self.day + random.uniform(0.0, 0.3)) * DAY_S
            yield self._seen(began_s, hours, middle_h, kink)

    def speed(self, hours: float) -> float:
        """Return the fan's speed over full speed after some hours of use (h)."""
        return [speed for since_h, speed in self.habit.speeds if since_h <= hours][-1]

    def loading(self, hours: float) -> float:
        """Return the true resistance over that when new after some hours of use (h)."""
        return 1.0 + hours / self.habit.doubles_h

    def hours_at_loading(self, loading: float) -> float:
        """Return the hours of use at which it truly has so many times the resistance (h)."""
        return (loading - 1.0) * self.habit.doubles_h

    def hours_at_airflow_part(self, part: float, speed: float) -> float:
        """Return the hours of use at which it truly lets such a part of the airflow through."""
        new_l_min = self._airflow_l_min(0.0, speed)
        low, high = 0.0, 100.0 * self.habit.doubles_h
        for _ in range(_BISECTIONS):
            middle = (low + high) / 2.0
            if self._airflow_l_min(middle, speed) > part * new_l_min:
                low = middle
            else:
                high = middle
        return low

    def _airflow_l_min(self, hours: float, speed: float) -> float:
        self._line.set(LineState(filter=self.loading(hours)))
        return self._line.at(speed).hood_l_min

    def _seen(self, began_s: float, hours: float, middle_h: float, kink: float) -> FilterPoint:
        speed = self.speed(middle_h)
        self._line.set(LineState(filter=self.loading(middle_h), kink=kink))
        air = self._line.at(speed)
        element_pa = air.orifice_pa if self._figures.orifice_pa else air.hood_pa
        return FilterPoint(
            began_s,
            True,
            hours,
            element_pa=element_pa * self._error(),
            filter_pa=air.filter_pa * self._error(),
            fan_rpm=FULL_SPEED_RPM * speed * (1.0 + self._random.gauss(0.0, 0.002)),
        )

    def _error(self) -> float:
        return 1.0 + self._random.gauss(0.0, self.habit.error)
