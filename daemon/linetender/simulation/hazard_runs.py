"""One run of a hazard in the midst of ordinary use, the physics fed straight into the core."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from random import Random

from linetender.core.events import Event, Sound
from linetender.core.inputs import By, Command, Contact, ContactState, Input, Verb, reading
from linetender.core.instants import MILLISECOND_NS, SECOND_NS, from_seconds
from linetender.core.plan import Arrangement, Plan
from linetender.core.signals import Signal
from linetender.core.watch import Watch
from linetender.simulation.devices import (
    LOW_PERFUSION_FROM,
    RADIO_RANGE_M,
    SENSOR_NOISE_PA,
    SHAKEN_FROM,
)
from linetender.simulation.hazards import Hazard
from linetender.simulation.knobs import Knob
from linetender.simulation.line import LineFigures
from linetender.simulation.lived_hours import COUNTS_PER_PA
from linetender.simulation.ordinary_use import Deed, ordinary_use
from linetender.simulation.turbulence import Turbulence
from linetender.simulation.world import World

FAST_NS, SLOW_NS = 40 * MILLISECOND_NS, 100 * MILLISECOND_NS
"""25 readings of pressure a second around the onset, ten before and long after."""

WORN_S = 12
ONSET_S = (85.0, 100.0)
"""After baselines of air and oxygen; drawn within (s)."""
QUICK_ONSET_S = (25.0, 45.0)
"""Before a baseline of air: the taught normal counts, and oxygen has none; drawn within (s)."""
FAST_FOR_S = 12.0
LOST_PART = 0.65
"""The part of the normal airflow that the rule `air_lost` goes by."""


@dataclass
class HazardRun:
    """What one run came to.

    Attributes:
        onset_ns: When the hazard began.
        lost_ns: When the airflow to the hood crossed 65 % of what it was; None if never.
        events: Everything that the station said from the onset on.
        before: What it had said until then.
        air: (instant, air in percent of the baseline) from the onset on, as the core sees it.
    """

    onset_ns: int
    lost_ns: int | None = None
    events: list[Event] = field(default_factory=list)
    before: list[Event] = field(default_factory=list)
    air: list[tuple[int, float]] = field(default_factory=list)


def run_hazard(
    plan: Plan, figures: LineFigures, hazard: Hazard, seed: int, *, quick: bool = False
) -> HazardRun:
    """Live up to a hazard and through it.

    Args:
        plan: The station.
        figures: The line that it watches.
        hazard: What happens.
        seed: Another seed is another day, another onset, another strength.
        quick: Start from what was taught instead of learning for a minute, and end when
            LEAVE has sounded: a third of the time, where only its delay is asked for.
    """
    return _Day(plan, figures, hazard, seed, quick).live()


def figures_of(plan: Plan) -> LineFigures:
    """Return the usual line of an arrangement."""
    is_fan_side = plan.arrangement is Arrangement.FAN_SIDE
    return LineFigures(orifice_pa=45.0) if is_fan_side else LineFigures()


class _Day:
    def __init__(
        self, plan: Plan, figures: LineFigures, hazard: Hazard, seed: int, quick: bool
    ) -> None:
        random = Random(f"{hazard.name} {seed}")
        onset_ns = from_seconds(random.uniform(*(QUICK_ONSET_S if quick else ONSET_S)))
        self._quick = quick
        self.run = HazardRun(onset_ns // MILLISECOND_NS * MILLISECOND_NS)
        self._turns = hazard.draw(random)
        self._knobs = {turn.knob for turn in self._turns}
        self._end_ns = onset_ns + from_seconds(hazard.lasts_s)
        self._plan = plan
        self._world = World(seed, figures)
        self._noise = Turbulence(seed, channel=5, finest_ns=20_000_000, octaves=1)
        self._watch = Watch(plan, 0)
        busy_s = WORN_S + (0.0 if quick else 50.0)
        deeds = ordinary_use(seed, busy_s, self._end_ns / SECOND_NS)
        self._deeds = [deed for deed in deeds if _is_apart(deed, self._knobs)]
        self._frozen_pa: float | None = None
        self._normal_l_min = 0.0

    def live(self) -> HazardRun:
        self._world.fan_start(0)
        now_ns = SLOW_NS
        while now_ns < self._end_ns and not self._is_told():
            self._turn_knobs(now_ns)
            for item in self._inputs(now_ns):
                events = self._watch.feed(item)
                late = now_ns >= self.run.onset_ns
                (self.run.events if late else self.run.before).extend(events)
            self._note_flow(now_ns)
            since_s = (now_ns - self.run.onset_ns) / SECOND_NS
            now_ns += FAST_NS if -1.0 <= since_s < FAST_FOR_S else SLOW_NS
        return self.run

    def _is_told(self) -> bool:
        """Whether nothing that follows is asked for: LEAVE sounds, and the air is lost."""
        if not self._quick or self.run.lost_ns is None:
            return False
        return self._watch.telling.demand.sound is Sound.HIGH

    def _turn_knobs(self, now_ns: int) -> None:
        world = self._world
        while self._deeds and self._deeds[0].at_ns <= now_ns:
            turn = self._deeds.pop(0).turn
            world.turn(now_ns, turn.knob, turn.to, turn.over_s)
        if self._turns and now_ns >= self.run.onset_ns:
            self.run.onset_ns = now_ns
            for turn in self._turns:
                world.turn(now_ns, turn.knob, turn.to, turn.over_s)
            self._turns = ()

    def _note_flow(self, now_ns: int) -> None:
        percent = self._watch.channels[Signal.AIR_PERCENT_OF_BASELINE].value
        if now_ns >= self.run.onset_ns and percent is not None:
            self.run.air.append((now_ns, percent))
        flow_l_min = self._world.airflow_l_min(now_ns)
        if now_ns < self.run.onset_ns:
            self._normal_l_min = flow_l_min
        elif self.run.lost_ns is None and flow_l_min < LOST_PART * self._normal_l_min:
            self.run.lost_ns = now_ns

    def _inputs(self, now_ns: int) -> Iterator[Input]:
        world, plan = self._world, self._plan
        second = now_ns % SECOND_NS < SLOW_NS and now_ns % SECOND_NS < self._step_ns(now_ns)
        if now_ns == WORN_S * SECOND_NS:
            world.hood_on(now_ns)
            yield Command(now_ns, Verb.START, By.WEARER)
        if "fan_mains" in plan.contacts:
            yield from self._mains(now_ns, second)
        if second and Signal.SPO2_PERCENT in plan.signals:
            yield from self._oximeter(now_ns)
        assert plan.air is not None
        if world.value(Knob.SENSOR_UNPLUGGED, now_ns) >= 0.5:
            yield reading(now_ns, plan.air.signal, reason="nack")
            return
        yield reading(now_ns, plan.air.signal, self._seen_pa(now_ns))

    def _step_ns(self, now_ns: int) -> int:
        since_s = (now_ns - self.run.onset_ns) / SECOND_NS
        return FAST_NS if -1.0 <= since_s < FAST_FOR_S else SLOW_NS

    def _mains(self, now_ns: int, second: bool) -> Iterator[Input]:
        is_closed = self._world.value(Knob.FAN_MAINS, now_ns) >= 0.5
        if second or not is_closed:
            state = ContactState.CLOSED if is_closed else ContactState.OPEN
            yield Contact(now_ns, "fan_mains", state)

    def _seen_pa(self, now_ns: int) -> float:
        world = self._world
        if world.value(Knob.SENSOR_FROZEN, now_ns) >= 0.5 and self._frozen_pa is not None:
            return self._frozen_pa
        true_pa = world.element_pressure_pa(now_ns) * world.value(Knob.TAP_OPEN, now_ns)
        seen_pa = true_pa + SENSOR_NOISE_PA * self._noise.value(now_ns)
        self._frozen_pa = round(seen_pa * COUNTS_PER_PA) / COUNTS_PER_PA
        return self._frozen_pa

    def _oximeter(self, now_ns: int) -> Iterator[Input]:
        world = self._world
        both = (Signal.SPO2_PERCENT, Signal.PULSE_RATE_BPM)
        if world.value(Knob.DISTANCE_M, now_ns) > RADIO_RANGE_M:
            yield from (reading(now_ns, signal, reason="timeout") for signal in both)
            return
        if world.value(Knob.FINGER_OUT, now_ns) >= 0.5:
            yield from (reading(now_ns, signal, reason="finger_out") for signal in both)
            return
        doubt = None
        if world.value(Knob.COLD, now_ns) >= LOW_PERFUSION_FROM:
            doubt = "low_perfusion"
        elif world.value(Knob.MOTION, now_ns) >= SHAKEN_FROM:
            doubt = "erratic_signal"
        values = (world.spo2_percent(now_ns), world.pulse_rate_bpm(now_ns))
        for signal, value in zip(both, values, strict=True):
            yield reading(now_ns, signal, float(round(value)), doubt=doubt)


def _is_apart(deed: Deed, knobs: set[Knob]) -> bool:
    """Whether what ordinary use does leaves the hazard as it is."""
    return deed.turn.knob not in knobs
