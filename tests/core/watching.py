"""A Watch driven in seconds, with small invented plans: the hands of the core's tests."""

from linetender.core.events import AlarmChanged, Demand, DemandChanged, Event, StageChanged
from linetender.core.inputs import (
    By,
    Command,
    Contact,
    ContactState,
    Fact,
    Verb,
    reading,
)
from linetender.core.instants import SECOND_NS, from_seconds, to_seconds
from linetender.core.plan import AirPlan, Arrangement, Condition, Plan, RulePlan
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage
from linetender.core.step_plan import StepKind, StepPlan
from linetender.core.watch import Watch

EVERY_STAGE = tuple(Stage)
NORMAL_PA = 60.0


def rule(
    condition: Condition,
    *,
    id: str = "rule",  # noqa: A002
    on_s: float = 0.0,
    off_s: float = 0.0,
    priority: Priority = Priority.MEDIUM,
    realarm_s: float = 180.0,
    **more: object,
) -> RulePlan:
    """Return a rule that works in every stage unless told otherwise; delays in seconds."""
    fields = {"stages": EVERY_STAGE, "say": f"{id} speaks."} | more
    return RulePlan(
        id=id,
        condition=condition,
        priority=priority,
        on_delay_ns=from_seconds(on_s),
        off_delay_ns=from_seconds(off_s),
        realarm_ns=from_seconds(realarm_s),
        **fields,  # type: ignore[arg-type]
    )


def steps(signals: tuple[Signal, ...] = (), *, air: bool = False) -> tuple[StepPlan, ...]:
    """Return the steps of the smallest check: the card, air, the wearer's baselines."""
    made = [StepPlan("checklist", StepKind.CHECKLIST, 300 * SECOND_NS)]
    if air:
        made.append(StepPlan("air", StepKind.AIR, 180 * SECOND_NS))
    for signal in (Signal.SPO2_PERCENT, Signal.PULSE_RATE_BPM):
        if signal in signals:
            made.append(StepPlan(signal.value, StepKind.BASELINE, 180 * SECOND_NS, signal.value))
    return tuple(made)


def plan(
    *rules: RulePlan,
    signals: tuple[Signal, ...] = (Signal.SPO2_PERCENT,),
    air: bool = False,
    **more: object,
) -> Plan:
    """Return an invented station; with air, a taught line of 60 Pa where the box is worn."""
    fields = {
        "arrangement": Arrangement.WEARER_SIDE,
        "contacts": ("answer", "hook", "fan_mains"),
    } | more
    fields = {"steps": steps(signals, air=air)} | fields
    if air:
        signals = (Signal.HOOD_PRESSURE_PA, *signals)
    return Plan(
        station="shed",
        air=AirPlan(Signal.HOOD_PRESSURE_PA, NORMAL_PA, 0.5) if air else None,
        signals=signals,
        rules=rules,
        **fields,  # type: ignore[arg-type]
    )


class Bench:
    """A Watch, and everything it has said.

    Attributes:
        watch: The core.
        said: All its events, oldest first.
    """

    def __init__(self, made: Plan, *, started_s: float = 0.0) -> None:
        self.watch = Watch(made, from_seconds(started_s))
        self.said: list[Event] = []

    def good(self, at_s: float, signal: Signal, value: float, doubt: str | None = None) -> None:
        """Feed a number."""
        self.feed(reading(from_seconds(at_s), signal, value, doubt=doubt))

    def bad(self, at_s: float, signal: Signal, reason: str = "no_answer") -> None:
        """Feed a failed reading."""
        self.feed(reading(from_seconds(at_s), signal, reason=reason))

    def stream(
        self, from_s: float, until_s: float, every_s: float, **values: float | list[float]
    ) -> None:
        """Feed signals (by name) regularly, the end left out; a list is gone round."""
        turns = round((until_s - from_s) / every_s)
        for turn in range(turns):
            for name, value in values.items():
                number = value[turn % len(value)] if isinstance(value, list) else value
                self.good(from_s + turn * every_s, Signal(name), number)

    def contact(self, at_s: float, contact: str, state: ContactState, source: str = "") -> None:
        """Feed a state of a switch."""
        self.feed(Contact(from_seconds(at_s), contact, state, source))

    def press(self, at_s: float, held_s: float = 0.1) -> None:
        """Press the answer button and let go."""
        self.contact(at_s, "answer", ContactState.CLOSED)
        self.contact(at_s + held_s, "answer", ContactState.OPEN)

    def fact(self, at_s: float, fact: str, active: bool, subject: str = "") -> None:
        """Feed a fact."""
        self.feed(Fact(from_seconds(at_s), fact, active, subject))

    def command(self, at_s: float, verb: Verb, by: By = By.WEARER, **more: object) -> str | None:
        """Give a command; return why it is refused."""
        made = Command(from_seconds(at_s), verb, by, **more)  # type: ignore[arg-type]
        self.advance(at_s)
        why = self.watch.refusal(made)
        self.feed(made)
        return why

    def feed(self, item: object) -> None:
        """Feed any input."""
        self.said += self.watch.feed(item)  # type: ignore[arg-type]

    def advance(self, until_s: float) -> None:
        """Let silence pass."""
        self.said += self.watch.advance(from_seconds(until_s))

    # What it said

    def alarms(self, rule_id: str = "rule") -> list[tuple[float, str]]:
        """Return (second, state entered) of one rule's alarm."""
        return [
            (round(to_seconds(event.due_ns), 3), event.after.name)
            for event in self.said
            if isinstance(event, AlarmChanged) and event.rule == rule_id
        ]

    def raised(self) -> list[str]:
        """Return the rules that began to sound, each as often as it did."""
        return [
            event.rule
            for event in self.said
            if isinstance(event, AlarmChanged) and event.after.name == "UNACKNOWLEDGED"
        ]

    def stages(self) -> list[tuple[float, Stage, str]]:
        """Return (second, stage, why)."""
        return [
            (round(to_seconds(event.due_ns), 3), event.after, event.why)
            for event in self.said
            if isinstance(event, StageChanged)
        ]

    def demands(self) -> list[tuple[float, Demand]]:
        """Return (second, demand)."""
        return [
            (round(to_seconds(event.due_ns), 3), event.demand)
            for event in self.said
            if isinstance(event, DemandChanged)
        ]

    def state(self, rule_id: str = "rule") -> str:
        """Return the state of one rule's alarm now."""
        (alarm,) = [alarm for alarm in self.watch.wiring.alarms if alarm.plan.id == rule_id]
        return alarm.state.name

    @property
    def demand(self) -> Demand:
        """What is asked for now."""
        return self.watch.snapshot().demand

    @property
    def stage(self) -> Stage:
        """The stage now."""
        return self.watch.snapshot().stage
