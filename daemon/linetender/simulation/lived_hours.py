"""Simulated hours of ordinary use, the physics fed straight into the core."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

from linetender.core.alarm_table import AlarmState
from linetender.core.events import AlarmChanged, Event
from linetender.core.inputs import By, Command, Input, Verb, reading
from linetender.core.instants import MILLISECOND_NS, SECOND_NS, to_seconds
from linetender.core.plan import Plan
from linetender.core.signals import Signal
from linetender.core.stages import Priority
from linetender.core.watch import Watch
from linetender.simulation.devices import SENSOR_NOISE_PA, SHAKEN_FROM
from linetender.simulation.knobs import Knob
from linetender.simulation.line import LineFigures
from linetender.simulation.ordinary_use import Deed, ordinary_use
from linetender.simulation.turbulence import Turbulence
from linetender.simulation.world import World

AIR_NS = 100 * MILLISECOND_NS
"""Ten readings of pressure a second: delays are whole seconds, so that more change little."""

COUNTS_PER_PA = 60.0
"""Resolution of the SDP810-500Pa."""

WORN_S = 60


LATELY_NS = 30 * SECOND_NS
"""What was over for longer is no cause any more (chosen: above every delay of those rules)."""


class FalseAlarm(NamedTuple):
    """An alarm that sounded though nothing was wrong.

    Attributes:
        hour: Seed of the hour.
        at_s: When in it (s).
        rule: Id of the rule.
        evidence: The value that decided, in words.
        going_on: What was going on, or had just been, the latest first.
    """

    hour: int
    at_s: float
    rule: str
    evidence: str
    going_on: tuple[str, ...]

    @property
    def text(self) -> str:
        """All of it in words."""
        while_ = "; ".join(self.going_on) or "nothing"
        return (
            f"hour {self.hour}, {self.at_s:.1f} s: {self.rule} at {self.evidence} while: {while_}"
        )


@dataclass
class Hours:
    """What hours of ordinary use came to.

    Attributes:
        hours: How many.
        leaves, looks: The false alarms of high priority, and the others.
    """

    hours: int = 0
    leaves: list[FalseAlarm] = field(default_factory=list)
    looks: list[FalseAlarm] = field(default_factory=list)

    def add(self, others: "Hours") -> None:
        """Take other hours into the account."""
        self.hours += others.hours
        self.leaves += others.leaves
        self.looks += others.looks


def live(plan: Plan, figures: LineFigures, hours: int, first_seed: int = 1) -> Hours:
    """Live so many hours, each a use of its own with a seed of its own.

    Args:
        plan: The station; it must watch air by a pressure sensor.
        figures: The line that it watches.
        hours: How many.
        first_seed: Seed of the first hour; the next has the next.
    """
    lived = Hours()
    for seed in range(first_seed, first_seed + hours):
        _live_hour(plan, figures, seed, lived)
        lived.hours += 1
    return lived


def _live_hour(plan: Plan, figures: LineFigures, seed: int, lived: Hours) -> None:
    world = World(seed, figures)
    noise = Turbulence(seed, channel=5, finest_ns=20_000_000, octaves=1)
    watch = Watch(plan, 0)
    deeds = ordinary_use(seed, WORN_S + 60.0, 3500.0)
    under_way: dict[Knob, Deed] = {}
    world.fan_start(0)
    for now_ns in range(AIR_NS, 3600 * SECOND_NS, AIR_NS):
        while deeds and deeds[0].at_ns <= now_ns:
            _do(deeds.pop(0), world, now_ns, under_way)
        for item in _inputs(plan, world, now_ns, noise):
            _note(watch.feed(item), seed, under_way, lived)
    end_ns = 3600 * SECOND_NS
    _note(watch.feed(Command(end_ns, Verb.END, By.WEARER)), seed, under_way, lived)


def _do(deed: Deed, world: World, now_ns: int, under_way: dict[Knob, Deed]) -> None:
    turn = deed.turn
    world.turn(now_ns, turn.knob, turn.to, turn.over_s)
    under_way[turn.knob] = deed


def _inputs(plan: Plan, world: World, now_ns: int, noise: Turbulence) -> Iterator[Input]:
    assert plan.air is not None
    if now_ns == WORN_S * SECOND_NS:
        world.hood_on(now_ns)
        yield Command(now_ns, Verb.START, By.WEARER)
    if now_ns % SECOND_NS == 0 and Signal.SPO2_PERCENT in plan.signals:
        yield from _oximeter(world, now_ns)
    seen_pa = world.element_pressure_pa(now_ns) + SENSOR_NOISE_PA * noise.value(now_ns)
    yield reading(now_ns, plan.air.signal, round(seen_pa * COUNTS_PER_PA) / COUNTS_PER_PA)


def _oximeter(world: World, now_ns: int) -> Iterator[Input]:
    if world.value(Knob.FINGER_OUT, now_ns) >= 0.5:
        for signal in (Signal.SPO2_PERCENT, Signal.PULSE_RATE_BPM):
            yield reading(now_ns, signal, reason="finger_out")
        return
    doubt = "erratic_signal" if world.value(Knob.MOTION, now_ns) >= SHAKEN_FROM else None
    spo2, pulse = world.spo2_percent(now_ns), world.pulse_rate_bpm(now_ns)
    yield reading(now_ns, Signal.SPO2_PERCENT, float(round(spo2)), doubt=doubt)
    yield reading(now_ns, Signal.PULSE_RATE_BPM, float(round(pulse)), doubt=doubt)


def _note(events: tuple[Event, ...], seed: int, under_way: dict[Knob, Deed], lived: Hours) -> None:
    for event in events:
        if not isinstance(event, AlarmChanged) or event.after is not AlarmState.UNACKNOWLEDGED:
            continue
        false = FalseAlarm(
            seed,
            to_seconds(event.due_ns),
            event.rule,
            f"{event.evidence} {event.why}".strip(),
            _going_on(under_way, event.due_ns),
        )
        (lived.leaves if event.priority is Priority.HIGH else lived.looks).append(false)


def _going_on(under_way: dict[Knob, Deed], now_ns: int) -> tuple[str, ...]:
    lately = [
        deed for deed in under_way.values() if not deed.is_over or now_ns - deed.at_ns <= LATELY_NS
    ]
    lately.sort(key=lambda deed: deed.at_ns, reverse=True)
    return tuple(f"{deed.what} at {to_seconds(deed.at_ns):.1f} s" for deed in lately)
