"""What the station sees and does of a step of a proof test: pressure, contacts, and its sound."""

from collections import deque
from collections.abc import Sequence
from typing import Protocol

from linetender.core.events import DemandChanged, Event, Sound
from linetender.core.inputs import Contact, ContactState, Input, Reading
from linetender.core.instants import from_seconds
from linetender.core.plan import AirPlan
from linetender.core.proof import Cause, ProofClock, Sample, cause_of, changed_ns, normal_pa

SETTLED_S = 5.0
"""The normal before a step is taken over so long (s, chosen)."""

SAMPLES_KEPT = 6000
"""Readings that are looked back upon (chosen: minutes at the rates of sensors)."""


class Sounding(Protocol):
    """An output, as far as it is looked at here."""

    @property
    def role(self) -> str:
        """Its role in the station file."""

    @property
    def rises_ns(self) -> deque[int]:
        """When its pin went on."""


class ProofSenses:
    """Of one step.

    Args:
        air: How air is derived, or None.
        outputs: Of the station; they may still be being opened.

    Attributes:
        seen: When each clock told the cause (ns).
        leave: When LEAVE was demanded first (ns), and by which rule; None before.
    """

    def __init__(self, air: AirPlan | None, outputs: Sequence[Sounding]) -> None:
        self._air = air
        self._outputs = outputs
        self._samples: deque[Sample] = deque(maxlen=SAMPLES_KEPT)
        self._is_armed = False
        self._normal_pa: float | None = None
        self.seen: dict[ProofClock, int] = {}
        self.leave: tuple[int, str] | None = None

    def arm(self, now_ns: int) -> None:
        """From here on the cause may come."""
        self._normal_pa = self.settled_pa(now_ns)
        self._is_armed = True

    def settled_pa(self, now_ns: int) -> float | None:
        """Return the normal of the last seconds (Pa), or None while too little was read."""
        first_ns = now_ns - from_seconds(SETTLED_S)
        last = [one for one in self._samples if one.at_ns >= first_ns]
        if self._air is None or not last or self._samples[0].at_ns > first_ns:
            return None
        normal = normal_pa(last, self._air)
        return normal if normal > 0.0 else None

    def see(self, block: Sequence[Input]) -> None:
        """Take what the core is about to take."""
        for item in block:
            if isinstance(item, Reading):
                if self._air and item.signal is self._air.signal and item.value is not None:
                    self._samples.append(Sample(item.arrived_ns, item.value))
            elif isinstance(item, Contact) and self._is_armed:
                self._see_contact(item)

    def _see_contact(self, item: Contact) -> None:
        if item.contact == "fan_mains" and item.state is ContactState.OPEN:
            self.mark(ProofClock.MAINS, item.arrived_ns)
        elif item.contact == "answer" and item.state is ContactState.CLOSED and not self.leave:
            self.mark(ProofClock.BUTTON, item.arrived_ns)

    def tell(self, events: tuple[Event, ...]) -> None:
        """Take what the core said."""
        if not self._is_armed or self.leave is not None:
            return
        for event in events:
            if isinstance(event, DemandChanged) and event.demand.sound is Sound.HIGH:
                self.leave = event.due_ns, event.demand.rule
                return

    def mark(self, clock: ProofClock, at_ns: int) -> None:
        """Take the instant of the cause; of one clock the first counts."""
        self.seen.setdefault(clock, at_ns)

    def sounded_ns(self) -> int | None:
        """Return when a sounder's pin first went on for LEAVE, or None."""
        if self.leave is None:
            return None
        rises = [
            rise_ns
            for output in self._outputs
            if output.role == "buzzer"
            for rise_ns in output.rises_ns
            if rise_ns >= self.leave[0]
        ]
        return min(rises, default=None)

    def changed_ns(self, sound_ns: int) -> int | None:
        """Return when the air left its normal before the sound, or None."""
        if self._air is None or self._normal_pa is None:
            return None
        return changed_ns(self._samples, self._air, self._normal_pa, sound_ns)

    def cause(self, sound_ns: int | None = None) -> Cause | None:
        """Return the earliest cause that was seen, before the sound where there was one."""
        seen = dict(self.seen)
        if sound_ns is not None:
            if (changed := self.changed_ns(sound_ns)) is not None:
                seen[ProofClock.PRESSURE] = changed
            seen = {clock: at_ns for clock, at_ns in seen.items() if at_ns <= sound_ns}
        return cause_of(seen)
