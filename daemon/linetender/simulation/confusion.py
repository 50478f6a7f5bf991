"""What each hazard was called, over many runs: the table of confusion."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from linetender.core.alarm_table import AlarmState
from linetender.core.cause import Cause
from linetender.core.events import AlarmChanged, CauseNamed, Event
from linetender.core.plan import Plan
from linetender.core.stages import PRIORITY_RANK
from linetender.simulation.hazard_runs import HazardRun, figures_of, run_hazard
from linetender.simulation.hazards import Hazard


@dataclass
class Called:
    """What one hazard was called in one arrangement.

    Attributes:
        hazard: The hazard.
        right: Runs whose last name was right.
        first_right: Runs whose first name was.
        dangerous: Runs with a dangerous name at any time, with their seeds.
        silent: Runs in which nothing sounded.
        last: How often each name was the last.
        runs: How many.
    """

    hazard: Hazard
    right: int = 0
    first_right: int = 0
    dangerous: list[tuple[int, Cause]] = field(default_factory=list)
    silent: int = 0
    last: Counter[str] = field(default_factory=Counter)
    runs: int = 0

    @property
    def right_part(self) -> float:
        """Part of the runs that were named rightly in the end."""
        return self.right / self.runs if self.runs else 0.0


def call(plan: Plan, hazard: Hazard, seeds: Iterable[int]) -> Called:
    """Run a hazard with many seeds and count what it is called."""
    called = Called(hazard)
    truth = hazard.truth[plan.arrangement]
    figures = figures_of(plan)
    for seed in seeds:
        run = run_hazard(plan, figures, hazard, seed)
        names = names_of(run, hazard)
        called.runs += 1
        called.silent += not names
        called.right += bool(names) and names[-1] in truth
        called.first_right += bool(names) and names[0] in truth
        called.last[names[-1].value if names else "silent"] += 1
        wrong = [event.cause for event in _named(run.events) if event.cause in hazard.never]
        called.dangerous += [(seed, cause) for cause in wrong[:1]]
    return called


def names_of(run: HazardRun, hazard: Hazard) -> list[Cause]:
    """Return what the gravest alarm of a run was called, in order; of two the earlier counts."""
    raised = [
        event
        for event in run.events
        if isinstance(event, AlarmChanged)
        and event.after is AlarmState.UNACKNOWLEDGED
        and (not hazard.rules or event.rule in hazard.rules)
    ]
    explained = {event.rule for event in _named(run.events)}
    raised = [event for event in raised if event.rule in explained]
    if not raised:
        return []
    gravest = max(raised, key=lambda event: PRIORITY_RANK[event.priority])
    return [event.cause for event in _named(run.events) if event.rule == gravest.rule]


def _named(events: Iterable[Event]) -> list[CauseNamed]:
    return [event for event in events if isinstance(event, CauseNamed)]
