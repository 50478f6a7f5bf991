"""What a rule for slow losses would gain: how much sooner it tells them, and how often falsely.

The rules tried stand beside the default ones in one plan, so that each run of a hazard and
each hour of ordinary use tells of all of them at once.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from random import Random

from msgspec import structs

from linetender.core.instants import from_seconds, to_seconds
from linetender.core.plan import Condition, Drift, Heading, Plan, RulePlan, Side
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage
from linetender.simulation.detection import raised_ns
from linetender.simulation.hazard_runs import figures_of, run_hazard
from linetender.simulation.hazards import BOTH, HAZARDS, Hazard
from linetender.simulation.knobs import Knob
from linetender.simulation.lived_hours import live
from linetender.simulation.script import Turn

AIR, OXYGEN = Signal.AIR_PERCENT_OF_BASELINE, Signal.SPO2_PERCENT
LEFT_OUT = "air_heading"
"""The default rule that is itself one of those tried."""


def _heading(within_s: float, over_s: float, smoothing: float) -> Heading:
    ahead_ns, over_ns = from_seconds(within_s), from_seconds(over_s)
    return Heading(AIR, 80.0, Side.DOWN, ahead_ns, over_ns, smoothing, 5.0)


TRIED: dict[str, tuple[Condition, float]] = {
    "air heading 120 s": (_heading(120.0, 120.0, 0.05), 10.0),
    "air heading 120 s, rough": (_heading(120.0, 120.0, 0.2), 10.0),
    "air heading 180 s": (_heading(180.0, 120.0, 0.05), 10.0),
    "air drift 8 %, 300": (Drift(AIR, 300.0, 8.0, reference=100.0), 0.0),
    "air drift 15 %, 100": (Drift(AIR, 100.0, 15.0, reference=100.0), 0.0),
    "oxygen drift 1, 60": (Drift(OXYGEN, 60.0, 1.0), 0.0),
    "oxygen drift 1.5, 45": (Drift(OXYGEN, 45.0, 1.5), 0.0),
    "oxygen drift 2, 30": (Drift(OXYGEN, 30.0, 2.0), 0.0),
}
"""Condition and on-delay (s) of each rule tried; a drift's k and h are in the signal's unit."""


def _stale_air(random: Random) -> tuple[Turn, ...]:
    part = random.uniform(12.0, 14.0)
    return (Turn(Knob.INTAKE_O2_PERCENT, part, random.uniform(240.0, 600.0)),)


STALE_AIR = Hazard("intake air goes bad", _stale_air, dict.fromkeys(BOTH, frozenset()), lasts_s=800)
SLOW_HAZARDS = (
    *(h for h in HAZARDS if h.name in ("filter soaked", "filter loading", "brown-out")),
    next(h for h in HAZARDS if h.name == "wearer unwell"),
    STALE_AIR,
)


@dataclass
class Gain:
    """What one rule gains with one hazard.

    Attributes:
        sooner_s: Per run that it told, by how much sooner than any other rule (s);
            negative where it came later.
        untold: Runs that it did not tell.
        alone: Runs that no other rule told.
        early: Runs in which it sounded before anything was wrong.
    """

    sooner_s: list[float] = field(default_factory=list)
    untold: int = 0
    alone: int = 0
    early: int = 0


def with_tried(plan: Plan) -> Plan:
    """Return a plan with every rule tried, and without the default one that is among them."""
    rules = tuple(rule for rule in plan.rules if rule.id != LEFT_OUT)
    tried = (_rule(name, condition, on_s) for name, (condition, on_s) in TRIED.items())
    return structs.replace(plan, rules=(*rules, *tried))


def gains_of(plan: Plan, hazard: Hazard, seeds: Iterable[int]) -> dict[str, Gain]:
    """Run a slow hazard with many seeds; return what each rule tried gains.

    Args:
        plan: The station, with the rules tried.
        hazard: What happens.
        seeds: One run each.
    """
    gains = {name: Gain() for name in TRIED}
    figures = figures_of(plan)
    usual = [rule.id for rule in plan.rules if rule.id not in TRIED]
    for seed in seeds:
        run = run_hazard(plan, figures, hazard, seed)
        told = [at for at in (raised_ns(run.events, rule) for rule in usual) if at is not None]
        for name, gain in gains.items():
            at_ns = raised_ns(run.events, name)
            gain.early += raised_ns(run.before, name) is not None
            gain.untold += at_ns is None
            if at_ns is not None and told:
                gain.sooner_s.append(to_seconds(min(told) - at_ns))
            gain.alone += at_ns is not None and not told
    return gains


def false_of(plan: Plan, hours: int, first_seed: int) -> dict[str, int]:
    """Live hours of ordinary use; return how often each rule tried sounded falsely."""
    lived = live(plan, figures_of(plan), hours, first_seed)
    return {name: sum(false.rule == name for false in lived.looks) for name in TRIED}


def _rule(name: str, condition: Condition, on_delay_s: float) -> RulePlan:
    return RulePlan(
        id=name,
        condition=condition,
        priority=Priority.MEDIUM,
        on_delay_ns=from_seconds(on_delay_s),
        off_delay_ns=from_seconds(15.0),
        stages=(Stage.WORN,),
    )
