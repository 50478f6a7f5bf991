"""The decision core: inputs in, events out, time as an argument.

How a reading travels: `put_aside` keeps nearly all of those of the air; `take` finds the
channel; a value inside its guard interval changes no rule's mind and is done with; any
other lets the conditions look, then the alarms (delay, then state), then the demand.
What silence alone changes stands in `deadlines.py`; stages of use in `use.py`.
"""

from collections.abc import Iterable, Iterator

from linetender.core.air import Air
from linetender.core.air_evidence import FAN_MAINS, AirEvidence
from linetender.core.air_readings import AirReadings
from linetender.core.carryover import Carryover
from linetender.core.causes import Causes
from linetender.core.channel import Channel
from linetender.core.check_in import CheckIn
from linetender.core.commands import carry_out, refusal
from linetender.core.conditions.baselines import Baselines
from linetender.core.deadlines import Deadlines
from linetender.core.events import Event
from linetender.core.hands import Hands
from linetender.core.inputs import Command, Contact, ContactState, Fact, Input, Reading
from linetender.core.instants import NEVER_NS, SECOND_NS
from linetender.core.journal import Journal
from linetender.core.means import MeanListener
from linetender.core.plan import Plan
from linetender.core.pre_use import PreUse
from linetender.core.prompts import Prompts
from linetender.core.resumption import keep_all, restore_all
from linetender.core.session import Session
from linetender.core.signals import Signal
from linetender.core.snapshot import Snapshot
from linetender.core.stages import Stage
from linetender.core.telling import Telling
from linetender.core.use import Use
from linetender.core.view import take_snapshot
from linetender.core.wearer import wearer_baselines
from linetender.core.wiring import Wiring, channels_of


class TimeWentBack(ValueError):
    """An input or an advance lies before what the Watch has already seen."""


class Watch:
    """One segment of watching.

    Args:
        plan: The compiled station.
        started_ns: Watch time at the start (monotonic ns, the loop's own).
        carryover: What an earlier Watch of this station left, or None.
    """

    def __init__(self, plan: Plan, started_ns: int, carryover: Carryover | None = None) -> None:
        self.plan = plan
        self.now_ns = started_ns
        self.journal = Journal()
        channels = self.channels = channels_of(plan)
        pulse = self.channels.get(Signal.PULSE_RATE_BPM)
        self.check_in = CheckIn(plan.check_in, pulse)
        self.hands = Hands()
        self.baselines: Baselines = {}
        self.wearer = wearer_baselines(self.channels, self.baselines, self.journal)
        journal, prompts = self.journal, Prompts()
        self.wiring = Wiring(plan, channels, self.baselines, self.check_in, journal, started_ns)
        self.air = Air(plan.air, self.journal) if plan.air else None
        self.air_evidence = AirEvidence(self.air, self.channels)
        self.causes = Causes(plan, self.wiring, self.air_evidence, self.journal)
        asking = self.hands, self.check_in, prompts, journal
        self.telling = Telling(self.wiring.alarms, plan.contact_names, *asking)
        check = PreUse(plan.steps, self.air, self.wearer, prompts, journal)
        session = Session(plan.remind_ns, prompts, journal)
        parts = self.wiring, self.air, self.wearer, self.telling, self.hands, self.check_in
        self.use = Use(*parts, check, session, pulse, journal)
        self._deadlines = Deadlines(self.wiring, self.telling, self.use)
        self._watched_air = False
        self._was_not_checked = False
        self._listen()
        if carryover is None:
            self.use.apply_rules(started_ns)
        else:
            restore_all(self, carryover)
        self._note_who_waits()
        self._due_ns = self._deadlines.next_ns(started_ns)

    def _listen(self) -> None:
        """Connect what gathers window means with its channel."""
        air, channels, evidence = self.air, self.channels, self.air_evidence
        self._fan_speed = channels.get(Signal.FAN_SPEED_RPM)
        self._air_readings = None if air is None else AirReadings(air, channels)
        self._air_channel = None if air is None else channels[air.plan.signal]
        # Signals that nothing is derived from, and whose instant says nothing of the air's.
        self._plain = {
            signal: channel
            for signal, channel in channels.items()
            if channel.guard_listener is None and channel not in evidence.around
        }
        listeners: list[tuple[Signal, MeanListener]] = []
        if air is not None:
            listeners += [(air.plan.signal, air), (air.plan.signal, evidence)]
        listeners += [(baseline.signal, baseline) for baseline in self.wearer]
        listeners.append((Signal.PULSE_RATE_BPM, self.use.session))
        listeners.append((Signal.SUPPLY_VOLTAGE_V, self.use.check))
        self.wiring.listen(listeners)

    # Inputs

    def put_aside(self, block: Iterable[Input]) -> Iterator[Input]:
        """Keep back the readings of a block that nobody need look at now; yield the others.

        Each that is yielded must be taken before the next is asked for. Nearly every
        reading ends here, so this is written for speed.
        """
        quick = self._air_readings
        if quick is None:
            yield from block
            return
        keep_instant, keep_value = quick.instants.append, quick.values.append
        signal, now_ns = quick.signal, self.now_ns
        low, high, until_ns = quick.low, quick.high, min(quick.until_ns, self._due_ns)
        for item in block:
            if (
                type(item) is Reading
                and item.signal is signal
                and (value := item.value) is not None
                and item.doubt is None
                and low <= value <= high
                and now_ns <= (arrived_ns := item.arrived_ns) < until_ns
            ):
                now_ns = arrived_ns
                keep_instant(now_ns)
                keep_value(value)
            else:
                self.now_ns = now_ns
                if type(item) is not Reading or not self._passes(quick, item):
                    yield item
                now_ns = self.now_ns
                low, high, until_ns = quick.low, quick.high, min(quick.until_ns, self._due_ns)
        self.now_ns = now_ns

    def _passes(self, quick: AirReadings, item: Reading) -> bool:
        """Take a reading that changes nobody's mind, or put it aside after all."""
        now_ns, value = item.arrived_ns, item.value
        if value is None or item.doubt is not None or now_ns < self.now_ns:
            return False
        if item.signal is quick.signal:
            if now_ns >= quick.look_ns or not quick.keeps(now_ns, value):
                return False
            if now_ns >= self._due_ns:
                self.next_deadline()  # Most often a reading has put it off.
                if now_ns >= self._due_ns:
                    return False
            quick.keep(now_ns, value)
        else:
            channel = self._plain.get(item.signal)
            if channel is None or now_ns >= self._due_ns or not channel.passes(now_ns, value):
                return False
        self.now_ns = now_ns
        return True

    def feed(self, item: Input) -> tuple[Event, ...]:
        """Advance to an input's arrival, then apply it.

        A deadline at the very instant of the arrival fires first.

        Raises:
            TimeWentBack: it arrived before the Watch's present time.
        """
        for to_take in self.put_aside((item,)):
            return self.take(to_take)
        return ()

    def take(self, item: Input) -> tuple[Event, ...]:
        """Do what `feed` does, with an input that is not put aside."""
        now_ns = item.arrived_ns
        if now_ns >= self._due_ns:
            self._absorb()
            self._run_deadlines(now_ns)
        elif now_ns < self.now_ns:
            raise TimeWentBack(f"an input of {now_ns} ns came after {self.now_ns} ns")
        self.now_ns = now_ns
        quick = self._air_readings
        if type(item) is Reading:
            if quick is None or item.signal is not quick.signal:
                self._take(item)
            else:
                self._take_pressure(quick, item)
        else:
            self._take_other(item)
        return self.journal.take() if self.journal.events else ()

    def advance(self, now_ns: int) -> tuple[Event, ...]:
        """Return every event that fell due by `now_ns`, each with its instant.

        Raises:
            TimeWentBack: `now_ns` lies before the Watch's present time.
        """
        if now_ns < self.now_ns:
            raise TimeWentBack(f"asked to advance to {now_ns} ns from {self.now_ns} ns")
        if now_ns >= self._due_ns:
            self._absorb()
            self._run_deadlines(now_ns)
        self.now_ns = now_ns
        return self.journal.take() if self.journal.events else ()

    def next_deadline(self, until_ns: int = NEVER_NS) -> int | None:
        """Return the first instant before one (ns) at which silence changes anything, or None."""
        if self._due_ns < until_ns:  # else there is none, as is known without a look
            if quick := self._air_readings:
                quick.end_silence()
            self._due_ns = self._deadlines.next_after_readings_ns(self.now_ns, self.now_ns)
        return self._due_ns if self._due_ns < until_ns else None

    def refusal(self, command: Command) -> str | None:
        """Say why a command would change nothing now, in words for its sender; None if it would."""
        self._absorb()
        return refusal(self.use, command)

    def snapshot(self) -> Snapshot:
        """Return a frozen view of the station now."""
        self._absorb()
        return take_snapshot(self)

    def resume_rules(self) -> None:
        """Let rules new in this plan begin after a restoration; the others go on as they were."""
        self._watched_air = self.use.watches_air()
        self._was_not_checked = self.use.not_checked
        self.use.apply_rules(self.now_ns)

    def carryover(self) -> Carryover:
        """Return everything that must outlive this Watch."""
        self._absorb()
        return keep_all(self)

    # A reading's path

    def _absorb(self) -> None:
        """Take what was put aside: nothing may be looked at before."""
        if quick := self._air_readings:
            quick.absorb()

    def _take(self, item: Reading) -> None:
        """Take a reading of any signal but the one that air is derived from."""
        channel = self.channels.get(item.signal)
        if channel is None:
            return
        now_ns, value = item.arrived_ns, item.value
        quick = self._air_readings
        if quick is not None and quick.has_closed() and channel in self.air_evidence.around:
            quick.absorb()
        if value is None or item.doubt is not None:
            self._absorb()
            self._take_unsure(channel, item)
            return
        if not channel.passes(now_ns, value):
            self._take_good(channel, now_ns, value)
        if channel.guard_listener is not None:
            channel.guard_listener.guard_moved()
        if channel is self._fan_speed and self.air is not None:
            # What is put aside came at the speed of before, and is derived without it.
            self.air.see_speed(now_ns, value)
            if self._air_readings is not None and self.air.speed_ratio != 1.0:
                self._air_readings.guard_moved()

    def _take_pressure(self, quick: AirReadings, item: Reading) -> None:
        """Look at a reading of the pressure, and at what is derived from it."""
        self._absorb()
        channel = self.channels[quick.signal]
        now_ns, value = item.arrived_ns, item.value
        if value is None or item.doubt is not None:
            self._take_unsure(channel, item)
        else:
            if not channel.passes(now_ns, value):
                self._take_good(channel, now_ns, value)
            for derived, derived_value in quick.derived(value):
                if not derived.passes(now_ns, derived_value):
                    self._take_good(derived, now_ns, derived_value)
        # In the pre-use check what looks at a reading of an off-delay moves the check on.
        in_check = self.use.stage is Stage.PRE_USE
        quick.combine(now_ns, -NEVER_NS if in_check else self.causes.due_ns)
        if self._due_ns < quick.until_ns and self._due_ns < now_ns + SECOND_NS:
            # Most often only a silence that this reading ended.
            self._due_ns = self._deadlines.next_after_readings_ns(now_ns, now_ns)

    def _note_who_waits(self) -> None:
        """While worn a window of the pressure moves nothing, unless a cause is being revised."""
        is_awaited = self.causes.due_ns != NEVER_NS or self.use.stage is not Stage.WORN
        if self._air_readings is not None:
            self._air_readings.wait_for(is_awaited)

    def _take_other(self, item: Input) -> None:
        self._absorb()
        if isinstance(item, Contact):
            self._take_contact(item)
        elif isinstance(item, Fact):
            self._take_fact(item)
        elif isinstance(item, Command):
            carry_out(self.use, item)
            self._settle(item.arrived_ns)

    def _take_good(self, channel: Channel, now_ns: int, value: float) -> None:
        """Take a good value that somebody must look at."""
        previous_ns = channel.last_good_ns
        closes = channel.listens and now_ns >= channel.window_end_ns
        changed = channel.take(now_ns, value)
        if changed or not channel.low <= value <= channel.high:
            self._absorb()
            # Levels look at this value before any alarm decides: an off-delay must not
            # end on the very reading that is wrong again, nor on the first after a gap.
            channel.judge(now_ns, value, previous_ns)
            if closes:
                self.use.look(now_ns)
            self._follow(now_ns, channel)
        elif closes and channel is self._air_channel:
            self.use.look(now_ns)
            self._follow(now_ns)

    def _take_unsure(self, channel: Channel, item: Reading) -> None:
        """Take a bad or doubtful reading: it may raise, and never clears or reassures."""
        now_ns, air = item.arrived_ns, self._air_readings
        touched = [(channel, item.value or 0.0)]
        if air is not None and channel is self._air_channel:
            touched += air.derived(item.value or 0.0)
        for each, value in touched:
            if item.value is None:
                each.lose(now_ns, item.reason or "unknown")
            else:
                each.doubtful(now_ns, value, item.doubt or "")
        self._follow(now_ns, *(each for each, _ in touched), is_unsure=True)

    # Other inputs

    def _take_contact(self, item: Contact) -> None:
        now_ns = item.arrived_ns
        if item.contact == FAN_MAINS:
            self.air_evidence.mains_open = item.state is ContactState.OPEN
        self.use.see_contact(now_ns, item.contact, item.state)
        self.wiring.see_contact(now_ns, item.contact, item.state)
        self._settle(now_ns)

    def _take_fact(self, item: Fact) -> None:
        self.use.see_fact(item.arrived_ns, item)
        self.wiring.see_fact(item)
        self._settle(item.arrived_ns)

    # What follows from a change

    def _follow(self, now_ns: int, *channels: Channel, is_unsure: bool = False) -> None:
        """After a look at channels: settle if anything happened, else mind their deadlines."""
        settles = bool(self.journal.events) or self._has_news()
        if not settles and (is_unsure or now_ns >= self.causes.due_ns):
            settles = self.telling.moves_by_a_look(now_ns)
            # As settling would: with none due, a look at causes finds what the last one found.
            if not settles and self.causes.due_ns != NEVER_NS:
                self.causes.look(now_ns)
                self._note_who_waits()
                settles = bool(self.journal.events)
        if settles:
            self._settle(now_ns)
            return
        for channel in channels:
            self._due_ns = min(self._due_ns, self._deadlines.note(channel))

    def _has_news(self) -> bool:
        return (
            self.use.watches_air() is not self._watched_air
            or self.use.not_checked is not self._was_not_checked
            or bool(self.use.session.facts)
        )

    def _settle(self, now_ns: int) -> None:
        """Bring rules, suppression, demand and the next deadline up to date."""
        if self.use.watches_air() is not self._watched_air:
            self._watched_air = not self._watched_air
            self.use.apply_rules(now_ns)
        if self.use.not_checked is not self._was_not_checked:
            self._was_not_checked = self.use.not_checked
            self._take_fact(Fact(now_ns, "not_checked", self.use.not_checked))
        if self.use.session.facts:
            self._take_fact(self.use.session.facts.pop(0))
        self.wiring.suppress(now_ns)
        self.causes.look(now_ns)
        self._note_who_waits()
        self.telling.update(now_ns, self.use.stage)
        self._due_ns = self._deadlines.next_ns(now_ns)

    def _run_deadlines(self, now_ns: int) -> None:
        while self._due_ns <= now_ns:
            # Readings came since it was noted: what waited for silence waits longer.
            due_ns = self._deadlines.next_after_readings_ns(self.now_ns, now_ns)
            if due_ns > now_ns or due_ns == NEVER_NS:
                self._due_ns = due_ns
                return
            self.now_ns = due_ns
            self._deadlines.fall_due(due_ns)
            for channel in self.channels.values():
                channel.requiet()
            self._settle(due_ns)
