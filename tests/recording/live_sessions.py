"""Invented sessions, watched by the real core as the live loop does it, and recorded."""

import random
from collections.abc import Callable, Iterator

from linetender.core.carryover import Carryover
from linetender.core.drive import drive
from linetender.core.events import Event
from linetender.core.inputs import By, Command, Input, Verb, reading
from linetender.core.instants import SECOND_NS
from linetender.core.plan import Below, Plan, RulePlan, Stale
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage
from linetender.core.watch import Watch
from linetender.recording.line_stream import LineStream
from linetender.recording.lines import EndReason, Segment, SegmentReason, segment_of
from linetender.recording.writer import RecordingWriter
from recording.sessions import PLAN

SECONDS = 90
FAN_STOPS_S = 20
"""So long before the end (s)."""
PRESSURES_PER_SECOND = 25


def watched_plan() -> Plan:
    """Return an invented station with an air sensor and an oximeter, and three rules."""
    signals = (Signal.DUCT_PRESSURE_PA, Signal.SPO2_PERCENT, Signal.PULSE_RATE_BPM)
    oxygen_low = RulePlan(
        id="oxygen_low",
        condition=Below(Signal.SPO2_PERCENT, 90.0, 2.0),
        priority=Priority.MEDIUM,
        on_delay_ns=3 * SECOND_NS,
        off_delay_ns=5 * SECOND_NS,
        stages=(Stage.WORN,),
        realarm_ns=180 * SECOND_NS,
        say="Oxygen is low.",
    )
    blind = RulePlan(
        id="air_blind",
        condition=Stale((Signal.DUCT_PRESSURE_PA,), 5 * SECOND_NS),
        priority=Priority.LOW,
        on_delay_ns=0,
        off_delay_ns=0,
        stages=(Stage.IDLE, Stage.WORN),
        technical=True,
        say="The air sensor is silent.",
    )
    fields = {name: getattr(PLAN, name) for name in PLAN.__struct_fields__}
    return Plan(**fields | {"signals": signals, "rules": (*PLAN.rules, oxygen_low, blind)})


def inputs_of_session(seconds: int = SECONDS, seed: int = 1) -> Iterator[Input]:
    """Yield 25 pressures and two oximeter values a second, a start, and a fan that stops."""
    draw = random.Random(seed)
    step_ns = SECOND_NS // PRESSURES_PER_SECOND
    for second in range(seconds):
        now_ns = second * SECOND_NS
        if second == 5:
            yield Command(now_ns, Verb.START, By.WEARER)
        if second == seconds - FAN_STOPS_S // 2:
            yield Command(now_ns, Verb.ACKNOWLEDGE, By.WEARER, shown=99)
        oxygen = 97.0 if second % 40 < 30 else 87.0
        yield reading(now_ns, Signal.SPO2_PERCENT, oxygen, source="oximeter")
        yield reading(now_ns, Signal.PULSE_RATE_BPM, 64.0 + second % 5, source="oximeter")
        for k in range(PRESSURES_PER_SECOND):
            at_ns = now_ns + k * step_ns + draw.randrange(1, step_ns)
            if draw.random() < 0.02:
                yield reading(at_ns, Signal.DUCT_PRESSURE_PA, None, "crc", source="air")
                continue
            stopped_s = max(0, second + 1 - (seconds - FAN_STOPS_S))
            normal = 60.0 * 0.5**stopped_s
            value = round(draw.gauss(normal, 1.5), 2)
            yield reading(at_ns, Signal.DUCT_PRESSURE_PA, value, source="air")


def recorded_live(
    seconds: int = SECONDS, seed: int = 1, rotate_at_s: tuple[int, ...] = ()
) -> bytes:
    """Record an invented session of the station with three rules."""
    items = list(inputs_of_session(seconds, seed))
    return recorded_of(watched_plan(), items, seconds, seed, rotate_at_s)


def recorded_of(
    plan: Plan,
    items: list[Input],
    seconds: int,
    seed: int = 1,
    rotate_at_s: tuple[int, ...] = (),
) -> bytes:
    """Record inputs in blocks of random sizes, as a loop under load would form them."""
    draw = random.Random(seed)
    session = _Session(plan)
    rotate_at_ns = [second * SECOND_NS for second in rotate_at_s]
    block: list[Input] = []
    for item, after in zip(items, [*items[1:], None], strict=True):
        if rotate_at_ns and rotate_at_ns[0] <= item.arrived_ns:
            session.turn(block, rotate_at_ns.pop(0))
            block = []
            session.rotate()
        block.append(item)
        if draw.random() < 0.4 and after is not None:
            # The loop comes back at once, or as late as the next input arrives.
            session.turn(block, draw.choice((item.arrived_ns, after.arrived_ns)))
            block = []
    session.turn(block, seconds * SECOND_NS)
    return session.end()


def record_session(
    writer: RecordingWriter,
    seconds: int,
    seed: int = 1,
    turned: Callable[[], None] = lambda: None,
) -> list[Event]:
    """Watch a session and record it by a writer; return the events.

    Args:
        writer: New.
        seconds: Length of the session (s).
        seed: Of its noise and of the sizes of the blocks.
        turned: Called after each block.
    """
    draw = random.Random(seed)
    plan = watched_plan()
    watch = Watch(plan, 0)
    said: list[Event] = []
    writer.segment(_header(plan, 0, SegmentReason.START, None))
    block: list[Input] = []
    for item in inputs_of_session(seconds, seed):
        block.append(item)
        if draw.random() < 0.4:
            made: list[Event] = []
            writer.inputs(block)
            drive(block, item.arrived_ns, watch, made.extend)
            writer.events(tuple(made))
            writer.advance(item.arrived_ns)
            said += made
            block = []
            turned()
    writer.inputs(block)
    made = []
    drive(block, seconds * SECOND_NS, watch, made.extend)
    writer.events(tuple(made))
    writer.close(seconds * SECOND_NS)
    return said + made


class _Session:
    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.watch = Watch(self.plan, 0)
        self.stream = LineStream()
        self.now_ns = 0
        self.written = [self.stream.segment(self._header(SegmentReason.START))]

    def turn(self, block: list[Input], until_ns: int) -> None:
        """Do what the live loop does in one turn."""
        made: list[Event] = []
        self.stream.inputs(block)
        drive(block, until_ns, self.watch, made.extend)
        self.stream.events(tuple(made))
        self.now_ns = until_ns
        self.written.append(self.stream.advance(until_ns))

    def rotate(self) -> None:
        """Close the segment and begin another with what the Watch carries over."""
        self.written.append(self.stream.end(self.now_ns, EndReason.ROTATION))
        header = self._header(SegmentReason.ROTATION)
        self.watch = Watch(self.plan, self.now_ns, header.carryover)
        self.written.append(self.stream.segment(header))

    def end(self) -> bytes:
        return b"".join([*self.written, self.stream.end(self.now_ns, EndReason.STOPPED)])

    def _header(self, why: SegmentReason) -> Segment:
        carryover = None if why is SegmentReason.START else self.watch.carryover()
        return _header(self.plan, self.now_ns, why, carryover)


def _header(
    plan: Plan, started_ns: int, why: SegmentReason, carryover: Carryover | None
) -> Segment:
    return segment_of(
        plan,
        started_ns,
        why=why,
        wall="2020-01-01T00:00:00+00:00",
        synchronised=False,
        boot="demo",
        carryover=carryover,
    )
