"""Delay against false alarms, as limit and delay of the rule for lost air vary."""

from itertools import product
from statistics import median
from typing import NamedTuple

from msgspec import structs

from linetender.core.instants import from_seconds, to_seconds
from linetender.core.plan import Below, Plan, RulePlan
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage
from linetender.simulation.detection import FALSE_ONCE_S, lorden_s, raised_ns
from linetender.simulation.hazard_runs import figures_of, run_hazard
from linetender.simulation.hazards import HAZARDS
from linetender.simulation.lived_hours import live

LIMITS = (50.0, 65.0, 80.0, 90.0)
ON_DELAYS_S = (0.0, 1.0, 2.0, 4.0)
DEADBAND = 5.0
TRIED = ("fan stopped", "duct crushed")
RATES_PER_1000_H = (1.0, 10.0, 100.0, 1_000.0, 10_000.0, 100_000.0)
"""Rates of false alarms for which a bound is reckoned."""
LONGEST_S = 40.0
"""What is never told counts as told after this."""


class Point(NamedTuple):
    """One choice, and what it comes to.

    Attributes:
        limit: In percent of the baseline.
        on_delay_s: On-delay.
        median_s, worst_s: From the onset of the hazards tried to the raise.
        false_per_1000_h: Raises in ordinary use.
    """

    limit: float
    on_delay_s: float
    median_s: float
    worst_s: float
    false_per_1000_h: float


class Bound(NamedTuple):
    """How soon a fault can be told at all, to first order, at a rate of false alarms.

    Attributes:
        false_per_1000_h: The rate.
        soonest_s: From the onset, the median of the hazards tried.
    """

    false_per_1000_h: float
    soonest_s: float


def curve_of(plan: Plan, runs: int, hours: int, first_seed: int = 1) -> tuple[Point, ...]:
    """Try every choice at once: each is a rule of one plan.

    Args:
        plan: The station.
        runs: Of each hazard tried.
        hours: Of ordinary use.
        first_seed: Of both.
    """
    choices = tuple(product(LIMITS, ON_DELAYS_S))
    tried = structs.replace(plan, rules=tuple(_rule(*choice) for choice in choices))
    figures, seeds = figures_of(plan), range(first_seed, first_seed + runs)
    delays: dict[tuple[float, float], list[float]] = {choice: [] for choice in choices}
    for hazard in HAZARDS:
        if hazard.name in TRIED:
            for seed in seeds:
                run = run_hazard(tried, figures, hazard, seed, quick=True)
                for choice in choices:
                    at_ns = raised_ns(run.events, _name(*choice))
                    late_s = LONGEST_S if at_ns is None else to_seconds(at_ns - run.onset_ns)
                    delays[choice].append(late_s)
    lived = live(tried, figures, hours, first_seed)
    return tuple(
        Point(
            *choice,
            median(delays[choice]),
            max(delays[choice]),
            1000.0 / hours * sum(false.rule == _name(*choice) for false in lived.looks),
        )
        for choice in choices
    )


def bound_of(plan: Plan, runs: int, scatter: float, first_seed: int = 1) -> list[Bound]:
    """Return how soon the hazards tried can be told at all, by the rate of false alarms.

    Args:
        plan: The station.
        runs: Of each hazard tried.
        scatter: As of `delays_of`.
        first_seed: Of the runs.
    """
    figures, seeds = figures_of(plan), range(first_seed, first_seed + runs)
    lived = [
        run_hazard(plan, figures, hazard, seed, quick=True)
        for hazard in HAZARDS
        if hazard.name in TRIED
        for seed in seeds
    ]
    bounds = []
    for rate in RATES_PER_1000_H:
        soonest = [lorden_s(run, scatter, FALSE_ONCE_S / rate) for run in lived]
        told = [at_s for at_s in soonest if at_s is not None]
        if told:
            bounds.append(Bound(rate, median(told)))
    return bounds


def _name(limit: float, on_delay_s: float) -> str:
    return f"below_{limit:.0f}_for_{10.0 * on_delay_s:.0f}"


def _rule(limit: float, on_delay_s: float) -> RulePlan:
    return RulePlan(
        id=_name(limit, on_delay_s),
        condition=Below(Signal.AIR_PERCENT_OF_BASELINE, limit, DEADBAND),
        priority=Priority.MEDIUM,
        on_delay_ns=from_seconds(on_delay_s),
        off_delay_ns=from_seconds(5.0),
        stages=(Stage.WORN,),
    )
