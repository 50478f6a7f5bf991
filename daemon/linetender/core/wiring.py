"""Builds the conditions of a plan and ties each to what it looks at."""

from collections import defaultdict
from collections.abc import Iterable

from linetender.core import plan as plans
from linetender.core.alarm import Alarm
from linetender.core.alarm_table import ACTIVE
from linetender.core.channel import Channel
from linetender.core.check_in import CheckIn
from linetender.core.conditions.above import AboveCondition
from linetender.core.conditions.above_baseline import AboveBaselineCondition
from linetender.core.conditions.all_of import AllOfCondition
from linetender.core.conditions.any_of import AnyOfCondition
from linetender.core.conditions.baselines import Baselines
from linetender.core.conditions.below import BelowCondition
from linetender.core.conditions.below_baseline import BelowBaselineCondition
from linetender.core.conditions.check_in_missed import CheckInMissedCondition
from linetender.core.conditions.combined import CombinedCondition
from linetender.core.conditions.condition import Condition
from linetender.core.conditions.contact import ContactCondition
from linetender.core.conditions.drift import DriftCondition
from linetender.core.conditions.fact import FactCondition
from linetender.core.conditions.fact_stale import FactStaleCondition
from linetender.core.conditions.falls import FallsCondition
from linetender.core.conditions.heading import HeadingCondition
from linetender.core.conditions.held import HeldCondition
from linetender.core.conditions.jumps import JumpsCondition
from linetender.core.conditions.level import LevelCondition
from linetender.core.conditions.outside import OutsideCondition
from linetender.core.conditions.recent import Recent
from linetender.core.conditions.rises import RisesCondition
from linetender.core.conditions.stale import StaleCondition
from linetender.core.conditions.stuck import StuckCondition
from linetender.core.conditions.windowed import WindowedCondition
from linetender.core.inputs import ContactState, Fact
from linetender.core.journal import Journal
from linetender.core.means import MeanListener
from linetender.core.signals import Signal


class Wiring:
    """All alarms of a plan, and who must be told of what.

    Attributes:
        channels: One per signal that a device gives or the core derives.
        alarms: In the order of the plan.
        suppressed, suppressors: Those that another suppresses, and those that do, likewise.
        leaves: Every simple condition with the alarm it belongs to.
        on_contact: Per contact the conditions that look at it.
        on_fact: Per fact likewise.
        recents: Memories of when a condition held last, per rule id.
    """

    def __init__(
        self,
        plan: plans.Plan,
        channels: dict[Signal, Channel],
        baselines: Baselines,
        check_in: CheckIn,
        journal: Journal,
        started_ns: int,
    ) -> None:
        self.channels = channels
        self.alarms: list[Alarm] = []
        self.leaves: list[tuple[Condition, Alarm]] = []
        self.on_contact: dict[str, list[tuple[ContactCondition | HeldCondition, Alarm]]]
        self.on_contact = defaultdict(list)
        self.on_fact: dict[str, list[tuple[FactCondition | FactStaleCondition, Alarm]]]
        self.on_fact = defaultdict(list)
        self.recents: dict[str, Recent] = {}
        self._baselines = baselines
        self._check_in = check_in
        self._started_ns = started_ns
        # A rule that follows another needs that one's condition first.
        for rule in sorted(plan.rules, key=_follows):
            alarm = Alarm(rule, self._build(rule.condition), journal)
            self.recents[rule.id] = Recent(alarm.condition)
            self.alarms.append(alarm)
            for leaf in _leaves(alarm.condition):
                self._attach(leaf, alarm)
        self._remember_followed(plan.rules)
        order = {rule.id: place for place, rule in enumerate(plan.rules)}
        self.alarms.sort(key=lambda alarm: order[alarm.plan.id])
        self.suppressed = [alarm for alarm in self.alarms if alarm.plan.suppressed_by]
        suppressors = {rule for alarm in self.suppressed for rule in alarm.plan.suppressed_by}
        self.suppressors = [alarm for alarm in self.alarms if alarm.plan.id in suppressors]

    def listen(self, listeners: Iterable[tuple[Signal, MeanListener]]) -> None:
        """Connect what gathers window means with its channel, where that is measured."""
        for signal, listener in listeners:
            if signal in self.channels:
                self.channels[signal].mean_listeners.append(listener)
        for channel in self.channels.values():
            channel.requiet()

    def suppress(self, now_ns: int) -> None:
        """Withhold the alarms that an active one suppresses; release the others."""
        active = {alarm.plan.id for alarm in self.suppressors if alarm.state in ACTIVE}
        for alarm in self.suppressed:
            alarm.withhold(now_ns, not active.isdisjoint(alarm.plan.suppressed_by))

    def see_contact(self, now_ns: int, contact: str, state: ContactState) -> None:
        """Let the rules about a contact look at it."""
        for condition, alarm in self.on_contact.get(contact, ()):
            condition.see(now_ns, state)
            alarm.judge(now_ns)

    def see_fact(self, fact: Fact) -> None:
        """Let the rules about a fact look at it."""
        for condition, alarm in self.on_fact.get(fact.fact, ()):
            condition.see(fact)
            alarm.judge(fact.arrived_ns)

    def reassure_check_in(self, now_ns: int) -> None:
        """Tell the check-in rules that the wearer gave a sign of life."""
        for leaf, alarm in self.leaves:
            if isinstance(leaf, CheckInMissedCondition):
                leaf.heard()
                alarm.judge(now_ns)

    def _remember_followed(self, rules: tuple[plans.RulePlan, ...]) -> None:
        followed = {
            rule.condition.followed for rule in rules if isinstance(rule.condition, plans.Stale)
        }
        for channel in self.channels.values():
            for alarm in channel.alarms:
                if alarm.plan.id in followed:
                    channel.recents.append(self.recents[alarm.plan.id])

    def _build(self, plan: plans.Condition) -> Condition:
        match plan:
            case plans.Stale():
                return self._build_stale(plan)
            case plans.BelowBaseline():
                return BelowBaselineCondition(plan, self._baselines)
            case plans.AboveBaseline():
                return AboveBaselineCondition(plan, self._baselines)
            case plans.Drift():
                return DriftCondition(plan, self._baselines)
            case plans.FactStale():
                return FactStaleCondition(plan, self._started_ns)
            case plans.CheckInMissed():
                return CheckInMissedCondition(plan, self._check_in)
            case plans.AnyOf():
                return AnyOfCondition(tuple(self._build(part) for part in plan.conditions))
            case plans.AllOf():
                return AllOfCondition(tuple(self._build(part) for part in plan.conditions))
        return _build_simple(plan)

    def _build_stale(self, plan: plans.Stale) -> StaleCondition:
        channels = tuple(self.channels[signal] for signal in plan.signals)
        followed = self.recents[plan.followed] if plan.followed else None
        return StaleCondition(plan, channels, followed, self._started_ns)

    def _attach(self, leaf: Condition, alarm: Alarm) -> None:
        self.leaves.append((leaf, alarm))
        match leaf:
            case LevelCondition():
                leaf.source = self.channels[leaf.signal]
                self.channels[leaf.signal].levels.append(leaf)
                self.channels[leaf.signal].attach(alarm)
            case WindowedCondition():
                self.channels[leaf.signal].mean_listeners.append(leaf)
                self.channels[leaf.signal].attach(alarm)
            case StuckCondition():
                self.channels[leaf.signal].stucks.append(leaf)
                self.channels[leaf.signal].attach(alarm)
            case StaleCondition():
                for channel in leaf.channels:
                    channel.silences.append(leaf)
                    channel.attach(alarm)
            case CheckInMissedCondition():
                pulse = self.channels.get(Signal.PULSE_RATE_BPM)
                if pulse is not None:
                    pulse.silences.append(leaf)
                    pulse.attach(alarm)
            case ContactCondition() | HeldCondition():
                self.on_contact[leaf.contact].append((leaf, alarm))
            case FactCondition() | FactStaleCondition():
                self.on_fact[leaf.fact].append((leaf, alarm))


def channels_of(plan: plans.Plan) -> dict[Signal, Channel]:
    """Return a channel for each signal that a device gives or the core derives."""
    signals = list(plan.signals)
    if plan.air is not None:
        signals.append(Signal.AIR_PERCENT_OF_BASELINE)
        if plan.air.k_l_min is not None:
            signals.append(Signal.AIRFLOW_L_MIN)
    return {signal: Channel(signal) for signal in Signal if signal in signals}


def _build_simple(plan: plans.Condition) -> Condition:
    match plan:
        case plans.Below():
            return BelowCondition(plan)
        case plans.Above():
            return AboveCondition(plan)
        case plans.Outside():
            return OutsideCondition(plan)
        case plans.Falls():
            return FallsCondition(plan)
        case plans.Rises():
            return RisesCondition(plan)
        case plans.Jumps():
            return JumpsCondition(plan)
        case plans.Heading():
            return HeadingCondition(plan)
        case plans.Stuck():
            return StuckCondition(plan)
        case plans.OnContact():
            return ContactCondition(plan)
        case plans.Held():
            return HeldCondition(plan)
        case plans.OnFact():
            return FactCondition(plan)
    raise TypeError(f"no condition is built from {type(plan).__name__}")


def _leaves(condition: Condition) -> Iterable[Condition]:
    if isinstance(condition, CombinedCondition):
        for part in condition.parts:
            yield from _leaves(part)
    else:
        yield condition


def _follows(rule: plans.RulePlan) -> bool:
    return isinstance(rule.condition, plans.Stale) and bool(rule.condition.followed)
