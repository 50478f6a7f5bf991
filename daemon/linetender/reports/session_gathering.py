"""What is gathered of a session while its recording passes by, in bounded memory."""

from linetender.core.events import (
    AlarmChanged,
    BaselineSet,
    CauseNamed,
    Event,
    FalseLeave,
    StageChanged,
    StepChanged,
    StepState,
)
from linetender.core.inputs import Fact, Input, Reading
from linetender.core.instants import from_seconds, to_seconds
from linetender.core.plan import Plan
from linetender.core.signals import Signal
from linetender.core.stages import Stage
from linetender.core.watch import Watch
from linetender.recording.lines import Segment, SegmentReason
from linetender.recording.reader import Block
from linetender.reports.air_series import DERIVED, AirSeries
from linetender.reports.episodes import Episodes
from linetender.reports.limits import low_limits_of
from linetender.reports.proof_times import ProofTimes
from linetender.reports.session_clock import SessionClock
from linetender.reports.session_facts import BaselineFact, StageFact, StepFact
from linetender.reports.signal_record import SignalRecord

DRAWN = frozenset(
    {
        *DERIVED,
        Signal.SPO2_PERCENT,
        Signal.PULSE_RATE_BPM,
        Signal.FILTER_PRESSURE_PA,
        Signal.HOOD_CO2_PPM,
        Signal.INTAKE_CO_PPM,
    }
)
"""Signals that get a curve."""


class Gathering:
    """A session while it is read; its attributes are what was found so far."""

    def __init__(self) -> None:
        self.clock = SessionClock()
        self.episodes = Episodes()
        self.proofs = ProofTimes()
        self.stages: list[StageFact] = []
        self.steps: list[StepFact] = []
        self.baselines: list[BaselineFact] = []
        self.records: dict[Signal, SignalRecord] = {}
        self.worn_ns = 0
        self.false_leaves = 0
        self.first: Segment | None = None
        self.plan: Plan | None = None
        self._air: AirSeries | None = None
        self._worn_from_ns: int | None = None

    # Segments

    def begin(self, header: Segment, watch: Watch) -> None:
        """Begin a segment with the state that its header brings."""
        self._close_segment()
        self.clock.place(header)
        if header.why in (SegmentReason.START, SegmentReason.RESTART):
            self.episodes.begin_run()
            self.proofs.end(header.started_ns + self.clock.shift_ns)
        self.first = self.first or header
        self.plan = header.plan
        self._air = AirSeries(watch.air) if watch.air is not None else None
        self._make_records(header.plan)
        at_ns = header.started_ns + self.clock.shift_ns
        self._enter(watch.use.stage, at_ns, header.why.value)

    def end(self) -> None:
        """End the last segment."""
        self._close_segment()

    def _close_segment(self) -> None:
        at_ns = from_seconds(self.clock.length_s)
        for record in self.records.values():
            record.end(at_ns)
        if self._worn_from_ns is not None:
            self.worn_ns += at_ns - self._worn_from_ns
            self._worn_from_ns = None

    def _make_records(self, plan: Plan) -> None:
        derived: tuple[Signal, ...] = ()
        if plan.air is not None:
            derived = DERIVED if plan.air.k_l_min is not None else DERIVED[:1]
        for signal in (*derived, *plan.signals):
            if signal not in self.records:
                below = low_limits_of(plan, signal)
                self.records[signal] = SignalRecord(signal, below, drawn=signal in DRAWN)

    # Blocks

    def take(self, block: Block) -> None:
        """Take what one check line covers."""
        turns = [one for one in block.events if type(one) in (StageChanged, BaselineSet)]
        inputs = block.inputs
        for turn in turns:
            place = _first_from(inputs, turn.due_ns)
            self._feed(inputs[:place])
            inputs = inputs[place:]
            self._turn(turn)
        self._feed(inputs)
        for event in block.events:
            self._note(event)
        self.clock.reach(block.until_ns)

    def _feed(self, inputs: list[Input]) -> None:
        shift_ns = self.clock.shift_ns
        records = self.records
        air = self._air
        for item in inputs:
            if type(item) is not Reading or item.signal not in records:
                if type(item) is Fact:
                    self.proofs.see(item, item.arrived_ns + shift_ns)
                continue
            at_ns = item.arrived_ns + shift_ns
            if item.value is None or item.doubt is not None:
                records[item.signal].miss(at_ns, item)
                if air is not None and item.signal is air.signal:
                    for signal in DERIVED:
                        if signal in records:
                            records[signal].miss(at_ns, item)
                continue
            records[item.signal].see(at_ns, item.value)
            if air is None:
                continue
            if item.signal is air.signal:
                percent, flow_l_min = air.percent_and_flow(item.value)
                records[Signal.AIR_PERCENT_OF_BASELINE].see(at_ns, percent)
                if air.is_calibrated:
                    records[Signal.AIRFLOW_L_MIN].see(at_ns, flow_l_min)
            elif item.signal is Signal.FAN_SPEED_RPM:
                air.see_speed(item.arrived_ns, item.value)

    def _turn(self, event: Event) -> None:
        at_ns = event.due_ns + self.clock.shift_ns
        if isinstance(event, StageChanged):
            self._enter(event.after, at_ns, event.why)
        elif isinstance(event, BaselineSet):
            if self._air is not None:
                self._air.take(event)
            if event.value is not None:
                at_s = to_seconds(at_ns)
                self.baselines.append(BaselineFact(at_s, event.signal, event.value, event.source))

    def _enter(self, stage: Stage, at_ns: int, why: str) -> None:
        is_worn = stage is Stage.WORN
        for record in self.records.values():
            record.turn(at_ns, is_worn=is_worn)
        if is_worn and self._worn_from_ns is None:
            self._worn_from_ns = at_ns
        elif not is_worn and self._worn_from_ns is not None:
            self.worn_ns += at_ns - self._worn_from_ns
            self._worn_from_ns = None
        if not self.stages or self.stages[-1].stage != stage.value:
            self.stages.append(StageFact(to_seconds(at_ns), stage.value, why))

    def _note(self, event: Event) -> None:
        assert self.plan is not None, "a reader yields a header first"
        at_ns = event.due_ns + self.clock.shift_ns
        if isinstance(event, AlarmChanged):
            self.episodes.alarm(event, self.plan, at_ns)
        elif isinstance(event, CauseNamed):
            self.episodes.cause(event)
        elif isinstance(event, FalseLeave):
            self.false_leaves += 1
            self.episodes.false_leave(event)
        elif isinstance(event, StepChanged) and event.state is not StepState.WAITING:
            self.steps.append(StepFact(to_seconds(at_ns), event.step, event.state.value, event.why))


def _first_from(inputs: list[Input], due_ns: int) -> int:
    """Return the place of the first input that arrived at an instant or later."""
    for place, item in enumerate(inputs):
        if item.arrived_ns >= due_ns:
            return place
    return len(inputs)
