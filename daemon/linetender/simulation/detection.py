"""How soon hazards are told, and how that stands to what is possible and to what is needed."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from math import ceil, log
from statistics import median
from typing import NamedTuple

from linetender.core.alarm_table import AlarmState
from linetender.core.events import AlarmChanged, DemandChanged, Event, Sound
from linetender.core.instants import to_seconds
from linetender.core.plan import Plan
from linetender.core.stages import Priority
from linetender.simulation.hazard_runs import HazardRun, figures_of, run_hazard
from linetender.simulation.hazards import Hazard

FALSE_ONCE_S = 1000.0 * 3600.0
"""The mean time between false alarms that bounds are reckoned for: 1 000 h."""


class Target(NamedTuple):
    """How soon LEAVE has to sound.

    Attributes:
        median_s: Of many runs.
        worst_s: Of any run.
        is_from_onset: Reckoned from the hazard's onset; else from the instant in which the
            airflow crosses 65 %.
    """

    median_s: float
    worst_s: float
    is_from_onset: bool


TARGETS = {
    "mains lost": Target(0.5, 0.5, True),
    "fan stopped": Target(3.0, 5.0, False),
    "duct crushed": Target(3.0, 5.0, False),
    "duct off at fan": Target(5.0, 5.0, True),
    "duct off at hood": Target(5.0, 5.0, True),
}
"""The project's own targets, by hazard, with the default rules (chosen)."""


@dataclass
class Delays:
    """Delays of one hazard over many runs, in seconds.

    Attributes:
        from_onset: From its onset to LEAVE, or to LOOK where LEAVE never comes.
        from_loss: From the airflow's crossing of 65 % to LEAVE, of runs that crossed it.
        unlost: Runs in which the airflow never crossed 65 %.
        bounds: Lorden's bound of each run, where the air changed.
        missed: Seeds of runs in which nothing sounded.
        looks: How many of them were told by LOOK alone.
    """

    from_onset: list[float] = field(default_factory=list)
    from_loss: list[float] = field(default_factory=list)
    bounds: list[float] = field(default_factory=list)
    missed: list[int] = field(default_factory=list)
    looks: int = 0
    unlost: int = 0

    def late(self, target: Target) -> int:
        """Return how many runs were later than a target allows at worst, or told nothing."""
        sounded = self.from_onset if target.is_from_onset else self.from_loss
        return sum(late_s > target.worst_s for late_s in sounded) + self.looks + len(self.missed)

    def median_s(self, target: Target) -> float:
        """Return the median delay as the target reckons it (s); nan of none."""
        return quantile(self.from_onset if target.is_from_onset else self.from_loss, 0.5)


def delays_of(
    plan: Plan, hazard: Hazard, seeds: Iterable[int], scatter: float, *, quick: bool = False
) -> Delays:
    """Run a hazard with many seeds.

    Args:
        plan: The station.
        hazard: What happens.
        seeds: One run each.
        scatter: Standard deviation of the second's means of the air in ordinary use (%).
        quick: As of `run_hazard`.
    """
    delays, figures = Delays(), figures_of(plan)
    for seed in seeds:
        run = run_hazard(plan, figures, hazard, seed, quick=quick)
        leaves_ns = sounded_ns(run.events, Sound.HIGH)
        told_ns = leaves_ns if leaves_ns is not None else sounded_ns(run.events, Sound.MEDIUM)
        if told_ns is None:
            delays.missed.append(seed)
            continue
        delays.looks += leaves_ns is None
        delays.from_onset.append(to_seconds(told_ns - run.onset_ns))
        delays.unlost += run.lost_ns is None
        if run.lost_ns is not None and leaves_ns is not None:
            delays.from_loss.append(to_seconds(leaves_ns - run.lost_ns))
        bound_s = lorden_s(run, scatter)
        if bound_s is not None:
            delays.bounds.append(bound_s)
    return delays


def sounded_ns(events: Iterable[Event], sound: Sound) -> int | None:
    """Return when such a sound was first asked for."""
    for event in events:
        if isinstance(event, DemandChanged) and event.demand.sound is sound:
            return event.due_ns
    return None


def raised_ns(events: Iterable[Event], rule: str) -> int | None:
    """Return when a rule was first raised."""
    for event in events:
        if isinstance(event, AlarmChanged) and event.rule == rule:
            if event.after is AlarmState.UNACKNOWLEDGED:
                return event.due_ns
    return None


def lorden_s(run: HazardRun, scatter: float, calm_s: float = FALSE_ONCE_S) -> float | None:
    """Return when no detector with one false alarm in `calm_s` can be sooner, to first order (s).

    Information gathers at KL = (shift)² / (2·scatter²) per second, and ln(calm) of it is needed,
    calm being the mean number of seconds between false alarms (G. Lorden, Ann. Math. Stat. 42
    (1971) 1897, from memory: ln(calm) / KL for a sudden shift). For a shift that grows it is
    summed up as it comes. Taken as normal and independent from second to second.
    """
    needed, gathered, before_ns = log(calm_s), 0.0, run.onset_ns
    for at_ns, percent in run.air:
        shift = percent - 100.0
        if abs(shift) > scatter:
            gathered += shift * shift / (2.0 * scatter**2) * to_seconds(at_ns - before_ns)
        before_ns = at_ns
        if gathered >= needed:
            return to_seconds(at_ns - run.onset_ns)
    return None


def high_rules(plan: Plan) -> tuple[str, ...]:
    """Return the rules that tell to leave."""
    return tuple(rule.id for rule in plan.rules if rule.priority is Priority.HIGH)


def quantile(values: list[float], part: float) -> float:
    """Return the value that this part of them does not exceed; nan of none."""
    if not values:
        return float("nan")
    return sorted(values)[max(0, ceil(part * len(values)) - 1)]


def in_words(values: list[float]) -> str:
    """Return median, 95th percentile and the worst."""
    if not values:
        return f"{'-':>6} {'-':>6} {'-':>6}"
    return f"{median(values):6.2f} {quantile(values, 0.95):6.2f} {max(values):6.2f}"
