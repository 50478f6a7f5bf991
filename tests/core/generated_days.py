"""Days at an invented station, drawn by Hypothesis: what sensors, hands and helpers may do.

A day is a plain tuple of inputs in the order of their arrival. Sensors tick at their
own rates in one of a few moods; between the ticks somebody presses, commands, hangs
the hood up, or something fails.
"""

import random
from collections.abc import Iterator
from dataclasses import dataclass, field

from hypothesis import strategies as st

from core.full_stations import NORMAL_PA, air_signal
from linetender.core.inputs import By, Command, Contact, ContactState, Fact, Input, Verb, reading
from linetender.core.instants import MILLISECOND_NS, SECOND_NS
from linetender.core.plan import Plan
from linetender.core.signals import Signal

BAD, SILENT, STUCK = "bad", "silent", "stuck"
DOUBTED = 1000.0
"""A mood of `DOUBTED + x` gives the value x with a doubt."""

# Part of the normal pressure; 42.25 % of pressure is 65 % of flow through an orifice.
AIR_MOODS = (1.0, 1.0, 0.9, 0.7, 0.6, 0.5, 0.42, 0.3, 0.0, 1.3, 1.6, 2.4)
SPO2_MOODS = (97.0, 97.0, 93.0, 89.0, 84.0, 91.0, 60.0)
PULSE_MOODS = (80.0, 80.0, 39.0, 160.0)
OTHER_MOODS: dict[Signal, tuple[float, ...]] = {
    Signal.FAN_SPEED_RPM: (2500.0, 2000.0, 3000.0),
    Signal.HOOD_CO2_PPM: (4000.0, 12_000.0, 35_000.0),
    Signal.INTAKE_CO_PPM: (0.0, 20.0, 50.0),
    Signal.SUPPLY_VOLTAGE_V: (5.0, 4.5),
    Signal.OXIMETER_BATTERY_PERCENT: (80.0, 10.0),
    Signal.ELEMENT_TEMPERATURE_C: (21.0,),
}
PERIOD_NS = {
    Signal.SPO2_PERCENT: SECOND_NS,
    Signal.PULSE_RATE_BPM: SECOND_NS,
    Signal.FAN_SPEED_RPM: SECOND_NS,
}
AIR_PERIOD_NS = SECOND_NS // 2
SLOW_PERIOD_NS = 8 * SECOND_NS
CONTACT_PERIOD_NS = SECOND_NS
CONFIRM_PERIOD_NS = 2 * SECOND_NS

PAUSES_NS = tuple(
    round(seconds * SECOND_NS)
    for seconds in (0, 0, 0.001, 0.2, 0.3, 1, 1, 2.5, 2.5, 4, 4, 6, 11, 16, 16, 31, 62)
)


@dataclass
class World:
    """What the sensors and switches would say now."""

    plan: Plan
    noise: random.Random
    now_ns: int = 0
    moods: dict[Signal, float | str] = field(default_factory=dict)
    due_ns: dict[str, int] = field(default_factory=dict)
    contacts: dict[str, ContactState] = field(default_factory=dict)
    confirms: bool = True
    inputs: list[Input] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.moods = {air_signal(self.plan): 1.0, Signal.SPO2_PERCENT: 97.0}
        self.moods[Signal.PULSE_RATE_BPM] = 80.0
        for signal, moods in OTHER_MOODS.items():
            self.moods[signal] = moods[0]
        self.contacts = {"answer": ContactState.OPEN, "fan_mains": ContactState.CLOSED}
        self.due_ns = dict.fromkeys(
            [*(signal.value for signal in self.moods), "contacts", "confirm"], 7 * MILLISECOND_NS
        )

    def run(self, pause_ns: int) -> None:
        """Let the sensors tick for a while."""
        end_ns = self.now_ns + pause_ns
        while (due_ns := min(self.due_ns.values())) <= end_ns:
            self.now_ns = due_ns
            for name, at_ns in self.due_ns.items():
                if at_ns == due_ns:
                    self.inputs += self._tick(name)
        self.now_ns = end_ns

    def silence(self, pause_ns: int) -> None:
        """Let time pass without any input."""
        self.now_ns += pause_ns
        for name, at_ns in self.due_ns.items():
            self.due_ns[name] = max(at_ns, self.now_ns)

    def set_contact(self, contact: str, state: ContactState) -> None:
        """Move a switch; its driver tells at once and repeats it."""
        self.contacts[contact] = state
        self.inputs.append(Contact(self.now_ns, contact, state))

    def press(self, held_ns: int) -> None:
        """Press the answer button and let it go."""
        self.set_contact("answer", ContactState.CLOSED)
        self.run(held_ns)
        self.set_contact("answer", ContactState.OPEN)

    def _tick(self, name: str) -> Iterator[Input]:
        if name == "contacts":
            self.due_ns[name] += CONTACT_PERIOD_NS
            for contact, state in self.contacts.items():
                yield Contact(self.now_ns, contact, state)
        elif name == "confirm":
            self.due_ns[name] += CONFIRM_PERIOD_NS
            if self.confirms:
                for box in self.plan.far_ends:
                    yield Fact(self.now_ns, "far_end_confirmed", True, box.name)
        else:
            yield from self._tick_signal(Signal(name))

    def _tick_signal(self, signal: Signal) -> Iterator[Input]:
        is_air = signal is air_signal(self.plan)
        period_ns = AIR_PERIOD_NS if is_air else PERIOD_NS.get(signal, SLOW_PERIOD_NS)
        self.due_ns[signal.value] += period_ns
        mood = self.moods[signal]
        if mood == SILENT:
            return
        if mood == BAD:
            yield reading(self.now_ns, signal, None, "bad_frame")
            return
        if mood == STUCK:
            yield reading(self.now_ns, signal, NORMAL_PA if is_air else 97.0)
            return
        assert isinstance(mood, float)
        doubt = "weak" if mood >= DOUBTED and not _is_large(signal) else None
        value = mood - DOUBTED if doubt else mood
        if is_air:
            value = NORMAL_PA * value * (1.0 + self.noise.uniform(-0.02, 0.02))
        yield reading(self.now_ns, signal, value, doubt=doubt)


def _is_large(signal: Signal) -> bool:
    return signal in (Signal.FAN_SPEED_RPM, Signal.HOOD_CO2_PPM)


# What may happen, as small pieces of data that shrink well

_AIR = st.sampled_from(AIR_MOODS)
_SPO2 = st.sampled_from(SPO2_MOODS)
_PULSE = st.sampled_from(PULSE_MOODS)
_DEFECT = st.sampled_from((BAD, SILENT))


def _mood(signal: str, moods: st.SearchStrategy[float]) -> st.SearchStrategy[tuple[object, ...]]:
    any_mood = st.one_of(
        moods, moods, moods.map(lambda value: DOUBTED + value), _DEFECT, st.just(STUCK)
    )
    return st.tuples(st.just("mood"), st.just(signal), any_mood)


_EVENTS = st.one_of(
    _mood("air", _AIR),
    _mood("air", _AIR),
    _mood(Signal.SPO2_PERCENT, _SPO2),
    _mood(Signal.PULSE_RATE_BPM, _PULSE),
    st.sampled_from(tuple(OTHER_MOODS)).flatmap(
        lambda signal: st.tuples(
            st.just("mood"), st.just(signal), st.sampled_from((*OTHER_MOODS[signal], BAD, SILENT))
        )
    ),
    st.tuples(st.just("press"), st.sampled_from((0.05, 0.05, 0.05, 1.9, 2.5))),
    st.tuples(st.just("press"), st.just(0.05)),
    st.tuples(
        st.just("contact"),
        st.sampled_from(("hook", "fan_mains", "co_alarm", "answer")),
        st.sampled_from(tuple(ContactState)),
    ),
    st.tuples(
        st.just("command"),
        st.sampled_from(tuple(Verb)),
        st.sampled_from(tuple(By)),
        st.sampled_from((0, 1, 3, 10, 1_000, 1_000, 1_000)),
        st.sampled_from((1, 10, 60, 120, 500)),
    ),
    st.tuples(
        st.just("fact"),
        st.sampled_from(("storage_failed", "clock_unsynchronised")),
        st.booleans(),
        st.sampled_from(("", "disk")),
    ),
    st.tuples(st.just("confirms"), st.booleans()),
    st.tuples(st.just("all_silent"), st.sampled_from((0.5, 3.5, 12, 40, 400))),
    st.tuples(st.just("all_well")),
)
_PRELUDES = st.sampled_from(("none", "armed", "checked", "commanded", "commanded"))
_STEPS = st.lists(st.tuples(_EVENTS, st.sampled_from(PAUSES_NS)), min_size=4, max_size=16)
DAYS = st.tuples(_PRELUDES, _STEPS, st.integers(0, 3))
"""Data of a day; `inputs_of` makes inputs of it."""

Day = tuple[str, list[tuple[tuple[object, ...], int]], int]


def inputs_of(plan: Plan, day: Day) -> tuple[Input, ...]:
    """Play a day."""
    prelude, steps, seed = day
    world = World(plan, random.Random(seed))
    _play_prelude(world, prelude)
    for event, pause_ns in steps:
        _play(world, event)
        world.run(pause_ns)
    return tuple(world.inputs)


def well_again(plan: Plan, from_ns: int) -> tuple[Input, ...]:
    """Return three minutes in which nothing is wrong any more."""
    world = World(plan, random.Random(0), now_ns=from_ns)
    world.due_ns = dict.fromkeys(world.due_ns, from_ns + MILLISECOND_NS)
    world.contacts |= {"co_alarm": ContactState.OPEN}
    for _ in range(2):
        for fact in ("storage_failed", "clock_unsynchronised"):
            for subject in ("", "disk"):
                world.inputs.append(Fact(world.now_ns, fact, False, subject))
        world.run(90 * SECOND_NS)
    return tuple(world.inputs)


def eventful_day(plan: Plan) -> tuple[Input, ...]:
    """Return a fixed day on which nearly everything goes wrong in turn."""
    rules_air = ((0.3, 16), (1.0, 31), (BAD, 16), (1.6, 20), (SILENT, 20), (1.0, 31))
    moods: list[tuple[str, float | str, int]] = [("air", *mood) for mood in rules_air]
    moods += [
        (signal.value, mood, 70)
        for signal, values in OTHER_MOODS.items()
        for mood in (values[-1], BAD, values[0])
    ]
    moods += [(Signal.SPO2_PERCENT.value, mood, 40) for mood in (84.0, BAD, 93.0, 97.0)]
    moods += [(Signal.PULSE_RATE_BPM.value, mood, 40) for mood in (160.0, SILENT, 80.0)]
    steps: list[tuple[tuple[object, ...], int]] = []
    for signal, mood, seconds in moods:
        steps += [(("mood", signal, mood), seconds * SECOND_NS), (("press", 0.05), SECOND_NS)]
    steps += [(("confirms", False), 20 * SECOND_NS), (("press", 2.5), SECOND_NS)]
    steps += [(("contact", "fan_mains", ContactState.OPEN), 5 * SECOND_NS)]
    steps += [(("contact", "co_alarm", ContactState.CLOSED), 5 * SECOND_NS)]
    return inputs_of(plan, ("checked", steps, 1))


def _play_prelude(world: World, prelude: str) -> None:
    if prelude == "armed":
        world.run(64 * SECOND_NS)
    elif prelude == "checked":
        world.run(2 * SECOND_NS)
        for _ in range(3):
            world.press(50 * MILLISECOND_NS)
            world.run(18 * SECOND_NS)
    elif prelude == "commanded":
        world.run(3 * SECOND_NS)
        world.inputs.append(Command(world.now_ns, Verb.START, By.WEARER))
        world.run(SECOND_NS)


def _play(world: World, event: tuple[object, ...]) -> None:
    match event:
        case ("mood", signal, mood):
            key = air_signal(world.plan) if signal == "air" else Signal(str(signal))
            world.moods[key] = mood  # type: ignore[assignment]
        case ("press", float(seconds)):
            world.press(round(seconds * SECOND_NS))
        case ("contact", str(contact), ContactState() as state):
            world.set_contact(contact, state)
        case ("command", Verb() as verb, By() as by, int(shown), int(seconds)):
            duration_ns = seconds * SECOND_NS
            world.inputs.append(Command(world.now_ns, verb, by, shown, duration_ns))
        case ("fact", str(fact), bool(active), str(subject)):
            world.inputs.append(Fact(world.now_ns, fact, active, subject))
        case ("confirms", bool(confirms)):
            world.confirms = confirms
        case ("all_silent", (float() | int()) as seconds):
            world.silence(round(seconds * SECOND_NS))
        case ("all_well",):
            fresh = World(world.plan, world.noise)
            world.moods, world.confirms = fresh.moods, True
        case _:
            raise AssertionError(f"no such event: {event}")
