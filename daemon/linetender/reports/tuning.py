"""What other limits of an air rule would have meant on one's own recordings.

The rules covered are those that compare air (% of normal) with a lower limit. Each
session is read once, and every combination is judged on its arrays.
"""

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from multiprocessing import get_context
from pathlib import Path

import msgspec

from linetender.core.instants import from_seconds, to_seconds
from linetender.core.plan import Below, Plan, RulePlan
from linetender.core.signals import Signal
from linetender.settings.rule_budget import RuleBudget

Session = tuple[Path, ...]


class Combination(msgspec.Struct, frozen=True):
    """Settings of a rule.

    Attributes:
        limit_percent: Air under this (% of normal) is an alarm.
        deadband_percent: It must recover so far over the limit (% of normal).
        on_delay_s: It must last so long.
    """

    limit_percent: float
    deadband_percent: float
    on_delay_s: float


class Grid(msgspec.Struct, frozen=True):
    """Which combinations are judged.

    Attributes:
        limits_percent, deadbands_percent, on_delays_s: Every one with every other.
        off_delay_s: Of the rule, left as it is.
        killer: Whether the rule can kill.
    """

    limits_percent: tuple[float, ...]
    deadbands_percent: tuple[float, ...]
    on_delays_s: tuple[float, ...]
    off_delay_s: float
    killer: bool

    def combinations(self) -> list[Combination]:
        """Return all of them: delays within deadbands within limits."""
        return [
            Combination(limit, deadband, delay)
            for limit in self.limits_percent
            for deadband in self.deadbands_percent
            for delay in self.on_delays_s
        ]


class Counts(msgspec.Struct, frozen=True):
    """What was found in one session or in several.

    Attributes:
        alarms: Of each combination, in the order of the grid.
        worn_s: Time for which the hood was worn (s).
        sessions: How many.
        without_air: Sessions without a single reading of air.
    """

    alarms: tuple[int, ...]
    worn_s: float
    sessions: int
    without_air: int


class Outcome(msgspec.Struct, frozen=True):
    """One combination with what it would have meant.

    Attributes:
        settings: The combination.
        alarms: That there would have been.
        heard_after_s: From the failure of the fan to the sound (s).
        spare_s: What the air in the hood leaves once the wearer has reacted (s); below 0
            where the alarm comes too late.
    """

    settings: Combination
    alarms: int
    heard_after_s: float
    spare_s: float


def covered(plan: Plan) -> list[RulePlan]:
    """Return the rules that can be tuned."""
    return [rule for rule in plan.rules if _is_level_of_air(rule)]


def budget_of(plan: Plan, budgets: tuple[RuleBudget, ...]) -> RuleBudget | None:
    """Return the budget of the rule that tells to leave when air falls under a limit."""
    rules = {rule.id for rule in covered(plan)}
    return next((budget for budget in budgets if budget.rule in rules), None)


def counted(files: Session, grid: Grid) -> Counts:
    """Judge every combination on one session.

    Raises:
        RecordingError: a file cannot be read or is damaged.
    """
    # numpy takes a tenth of a second and 20 MB: no other verb shall wait for it.
    from linetender.reports.level_alarms import crossings_below, raised_ns
    from linetender.reports.tune_series import air_percent_of

    series = air_percent_of(files)
    off_ns = from_seconds(grid.off_delay_s)
    delays_ns = [from_seconds(delay) for delay in grid.on_delays_s]
    alarms: list[int] = []
    for limit in grid.limits_percent:
        for deadband in grid.deadbands_percent:
            crossings = crossings_below(series, limit, deadband)
            alarms += [
                len(raised_ns(series, crossings, delay_ns, off_ns, killer=grid.killer))
                for delay_ns in delays_ns
            ]
    worn_ns = sum(applied.to_ns - applied.from_ns for applied in series.applied)
    return Counts(tuple(alarms), to_seconds(worn_ns), 1, int(not len(series.goods)))


def counted_all(
    sessions: list[Session],
    grid: Grid,
    told: Callable[[int, int], None] = lambda done, size: None,
    processes: int | None = None,
) -> Counts:
    """Judge every combination on all sessions, several at once.

    Args:
        sessions: Files of each.
        grid: The combinations.
        told: Called after each session with the bytes read and the bytes of all.
        processes: At most so many; None is one for each processor.

    Raises:
        RecordingError: a file cannot be read or is damaged.
    """
    sizes = [sum(file.stat().st_size for file in files if file.is_file()) for files in sessions]
    total = Counts((0,) * len(grid.combinations()), 0.0, 0, 0)
    done = 0
    for place, counts in _each(sessions, grid, processes or os.cpu_count() or 1):
        total = _sum(total, counts)
        done += sizes[place]
        told(done, sum(sizes))
    return total


def outcomes(
    grid: Grid, counts: Counts, budget: RuleBudget, half_speed_s: float
) -> tuple[Outcome, ...]:
    """Put beside the alarms how soon a fan that stops would be heard.

    Args:
        grid: The combinations.
        counts: What was found.
        budget: Of the present rule; coast-down and delay are reckoned anew.
        half_speed_s: In which the fan without power falls to half its speed (s).
    """
    found = []
    for settings, alarms in zip(grid.combinations(), counts.alarms, strict=True):
        fraction = settings.limit_percent / 100.0
        other = budget.with_level(fraction, settings.on_delay_s, half_speed_s)
        heard_s, spare_s = other.sounds_after_s, other.seconds.spare_s
        found.append(Outcome(settings, alarms, round(heard_s, 3), round(spare_s, 3)))
    return tuple(found)


def frontier(found: tuple[Outcome, ...]) -> list[Outcome]:
    """Return those that no other beats in both respects, the soonest heard first."""
    best: list[Outcome] = []
    for one in sorted(found, key=lambda each: (each.heard_after_s, each.alarms)):
        if not best or one.alarms < best[-1].alarms:
            best.append(one)
    return best


def preferred(found: tuple[Outcome, ...], exit_time_s: float | None) -> list[Outcome]:
    """Return those within the alarm budget, the best first.

    That is: fewest alarms, then soonest heard. Where any leaves time for the way out with
    the hood closed, only those that do.
    """
    met = [one for one in found if one.spare_s >= 0.0]
    if exit_time_s is not None:
        met = [one for one in met if one.spare_s >= exit_time_s] or met
    return sorted(met, key=lambda each: (each.alarms, each.heard_after_s))


def _is_level_of_air(rule: RulePlan) -> bool:
    condition = rule.condition
    return isinstance(condition, Below) and condition.signal is Signal.AIR_PERCENT_OF_BASELINE


def _each(sessions: list[Session], grid: Grid, processes: int) -> Iterator[tuple[int, Counts]]:
    workers = min(processes, len(sessions))
    if workers <= 1:
        for place, files in enumerate(sessions):
            yield place, counted(files, grid)
        return
    # Not forked: the progress bar has a thread of its own.
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        waiting = {pool.submit(counted, files, grid): n for n, files in enumerate(sessions)}
        try:
            for ready in as_completed(waiting):
                yield waiting[ready], ready.result()
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


def _sum(one: Counts, other: Counts) -> Counts:
    return Counts(
        tuple(a + b for a, b in zip(one.alarms, other.alarms, strict=True)),
        one.worn_s + other.worn_s,
        one.sessions + other.sessions,
        one.without_air + other.without_air,
    )
