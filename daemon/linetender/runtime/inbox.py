"""Where all inputs meet: stamped in the order of their arrival, taken in blocks."""

import asyncio
from collections.abc import Iterable

from linetender.core.fact_names import FactName
from linetender.core.inputs import (
    By,
    Command,
    Contact,
    ContactState,
    Fact,
    Input,
    Verb,
    reading,
)
from linetender.core.signals import Signal
from linetender.runtime.bell import Bell
from linetender.runtime.clock import StationClock
from linetender.runtime.single_wait import SingleWait
from linetender_drivers.measurements import ContactChange, Measurement

_SIGNALS = {signal.value: signal for signal in Signal}
"""For every reading, at far less cost than to ask the enumeration, which refuses what is none."""


class Inbox:
    """Inputs that the core has not seen yet. For one event loop; not for threads.

    Each entry is stamped with its arrival; the stamps never go back.
    """

    def __init__(self, clock: StationClock) -> None:
        self._clock = clock
        self._waiting: list[Input] = []
        self._filled = SingleWait()
        self._bell = Bell(clock, self._filled)
        self._facts: dict[tuple[FactName, str], tuple[bool, str]] = {}

    def measurements(self, source: str, made: Iterable[Measurement]) -> None:
        """Take what a sensor measured.

        Raises:
            TypeError, ValueError: its driver gave what is no measurement.
        """
        now_ns = self._clock.now_ns()
        for one in made:
            self._put(
                reading(
                    now_ns,
                    _SIGNALS.get(one.signal) or Signal(one.signal),
                    None if one.value is None else float(one.value),
                    one.reason,
                    doubt=one.doubt,
                    source=source,
                    device_time=one.device_time,
                )
            )

    def lost(self, source: str, signals: Iterable[Signal], reason: str) -> None:
        """Take that a device gave nothing, and why: one bad reading per signal."""
        now_ns = self._clock.now_ns()
        for signal in signals:
            self._put(reading(now_ns, signal, reason=reason, source=source))

    def contact(self, source: str, change: ContactChange) -> None:
        """Take the state of a switch."""
        state = ContactState(change.state)
        self._put(Contact(self._clock.now_ns(), change.contact, state, source))

    def fact(self, fact: FactName, active: bool, subject: str = "", detail: str = "") -> None:
        """Take something the station knows of itself."""
        self._facts[fact, subject] = active, detail
        self._put(Fact(self._clock.now_ns(), fact, active, subject, detail))

    def note(self, fact: FactName, subject: str = "", detail: str = "") -> None:
        """Take something that happened just now, and is not said again by itself."""
        self._put(Fact(self._clock.now_ns(), fact, True, subject, detail))

    def note_proof(self, step: str, goes_on: bool) -> None:
        """Take that a step of the proof test has begun, or is over."""
        self._put(Fact(self._clock.now_ns(), FactName.PROOF_STEP, goes_on, step))

    def note_step(self, step: str, fault: str) -> None:
        """Take how a step of the pre-use check stands; an empty fault means that it is met."""
        now_ns = self._clock.now_ns()
        self._put(Fact(now_ns, FactName.PRE_USE_STEP, not fault, step, fault))

    def repeat_facts(self) -> None:
        """Say again what is known: an alarm clears only on news that it is over."""
        now_ns = self._clock.now_ns()
        for (fact, subject), (active, detail) in self._facts.items():
            self._put(Fact(now_ns, fact, active, subject, detail))

    def command(self, verb: Verb, by: By, *, shown: int = 0, source: str = "") -> None:
        """Take a person's wish."""
        self._put(Command(self._clock.now_ns(), verb, by, shown, source=source))

    def wish(self, command: Command) -> None:
        """Take a person's wish that was made just now."""
        self._put(command)

    def take(self) -> list[Input]:
        """Return all that waits, oldest first."""
        block, self._waiting = self._waiting, []
        self._filled.clear()
        return block

    async def wait(self, until_ns: int | None) -> None:
        """Return when something waits, or at an instant of Watch time."""
        if until_ns is None:
            await self._filled.wait()
            return
        self._bell.move(until_ns)
        try:
            await self._filled.wait()
        except asyncio.CancelledError:
            self._bell.stop()
            raise

    def _put(self, item: Input) -> None:
        self._waiting.append(item)
        self._filled.set()
