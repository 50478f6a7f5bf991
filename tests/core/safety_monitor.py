"""Watches a Watch from outside and fails as soon as it breaks a promise of safety.

It keeps its own, simpler account of what was measured and pressed, and holds every
event against it.
"""

from dataclasses import dataclass, field

from linetender.core.alarm import Alarm
from linetender.core.alarm_table import AlarmState
from linetender.core.events import AlarmChanged, DemandChanged, Event, Sound, StageChanged
from linetender.core.inputs import By, Command, Contact, ContactState, Input, Reading, Verb
from linetender.core.instants import SECOND_NS
from linetender.core.plan import Above, Below, Held, OnContact, Plan, RulePlan, Stale
from linetender.core.signals import SIGNAL_FACTS, Signal
from linetender.core.stages import PRIORITY_RANK, Stage
from linetender.core.watch import Watch

QUIET_NS = 15 * SECOND_NS
HIGH_REALARM_NS = 60 * SECOND_NS
HELD_NS = 2 * SECOND_NS

A, B, C = AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED
D, E, F = AlarmState.RETURNED, AlarmState.LATCHED, AlarmState.LATCHED_ACKNOWLEDGED
H = AlarmState.SUPPRESSED
STATE_RANK = {A: 0, F: 1, D: 2, H: 2, C: 3, E: 4, B: 5}
CLEARS = {(B, D), (B, E), (C, A), (C, F), (H, A)}
ANSWERS = {(B, C), (E, F), (D, A)}
RESETS = {(F, A), (D, A)}
SOUND_RANK = {Sound.SILENT: 0, Sound.TICKS: 0, Sound.LOW: 1, Sound.MEDIUM: 2, Sound.HIGH: 3}
ENDING = frozenset({Verb.END, Verb.OUT, Verb.SERVICE})


@dataclass
class Limit:
    """What a rule that compares a measured value with its limit must have noticed."""

    true_since_ns: int | None = None
    rests_on_doubt: bool = False
    clean_since_ns: int | None = None
    last_good_ns: int = -(10**18)


@dataclass
class Monitor:
    """Account of one station."""

    plan: Plan
    now_ns: int = 0
    n: int = 0
    limits: dict[str, Limit] = field(default_factory=dict)
    good_ns: dict[Signal, int] = field(default_factory=dict)
    contacts: dict[str, ContactState] = field(default_factory=dict)
    closed_since_ns: int | None = None
    worn_since_ns: int | None = None
    moved_ns: int = -1
    answered_ns: dict[str, int] = field(default_factory=dict)
    blind_before_ns: dict[str, int] = field(default_factory=dict)
    blind_ns: int = 0
    priorities: dict[str, int] = field(default_factory=dict)
    sound: Sound = Sound.SILENT

    def __post_init__(self) -> None:
        for rule in self.plan.rules:
            if isinstance(rule.condition, Below | Above):
                self.limits[rule.id] = Limit()

    def restart(self, watch: Watch) -> None:
        """Note that the station was blind for a while until now."""
        blind_ns, self.now_ns = watch.now_ns - self.now_ns, watch.now_ns
        self.blind_ns += blind_ns
        for limit in self.limits.values():
            if limit.true_since_ns is not None:
                limit.true_since_ns = watch.now_ns
            limit.clean_since_ns = None
        if self.worn_since_ns is not None:
            self.worn_since_ns = watch.now_ns
        self.closed_since_ns = None  # nobody saw whether the button stayed down

    def take(self, item: Input | None, events: tuple[Event, ...], watch: Watch) -> None:
        """Look at one call's events and at the state after it; None was an `advance`."""
        self._look_at_times(events, watch.now_ns)
        self._note(item, watch)
        for event in events:
            if isinstance(event, AlarmChanged):
                self._look_at_change(item, event)
            elif isinstance(event, StageChanged):
                self._look_at_stage(item, event)
            elif isinstance(event, DemandChanged):
                self._look_at_demand(item, event)
        self._look_at_killers(watch)
        self._look_at_truth(watch)

    # Times and numbers

    def _look_at_times(self, events: tuple[Event, ...], now_ns: int) -> None:
        for event in events:
            assert self.now_ns <= event.due_ns <= now_ns, f"due outside its call: {event}"
            self.now_ns = event.due_ns
            if isinstance(event, AlarmChanged):
                self.n += 1
                assert event.n == self.n, f"number {self.n} was expected: {event}"
        self.now_ns = now_ns

    # What was measured and pressed

    def _note(self, item: Input | None, watch: Watch) -> None:
        if isinstance(item, Reading):
            if item.value is not None and item.doubt is None:
                self.good_ns[item.signal] = item.arrived_ns
            assert self.plan.air is not None
            signals = [item.signal]
            if item.signal is self.plan.air.signal:
                signals += [Signal.AIR_PERCENT_OF_BASELINE, Signal.AIRFLOW_L_MIN]
            watch.snapshot()  # Makes the Watch take what it has put aside.
            for signal in signals:
                self._note_value(item, signal, watch)
        elif isinstance(item, Contact):
            self.contacts[item.contact] = item.state
            if item.contact == "answer":
                if item.state is not ContactState.CLOSED:
                    self.closed_since_ns = None
                elif self.closed_since_ns is None:
                    self.closed_since_ns = item.arrived_ns

    def _note_value(self, item: Reading, signal: Signal, watch: Watch) -> None:
        now_ns = item.arrived_ns
        is_good = item.value is not None and item.doubt is None
        for rule in self.plan.rules:
            condition = rule.condition
            if not isinstance(condition, Below | Above) or condition.signal is not signal:
                continue
            limit = self.limits[rule.id]
            value = watch.channels[signal].value
            is_clean = is_good and value is not None and _clears(condition, value)
            clears = value is not None and _clears(condition, value)
            if value is not None and _begins(condition, value) and limit.true_since_ns is None:
                limit.true_since_ns, limit.rests_on_doubt = now_ns, True
            if is_good and not clears:
                limit.rests_on_doubt = False
            if is_clean or (clears and limit.rests_on_doubt):
                limit.true_since_ns = None
            had_gap = now_ns - limit.last_good_ns > SIGNAL_FACTS[signal].gap_ns
            if not is_clean:
                limit.clean_since_ns = None
            elif limit.clean_since_ns is None or had_gap:
                limit.clean_since_ns = now_ns
            if is_good:
                limit.last_good_ns = now_ns

    # What was said

    def _look_at_change(self, item: Input | None, event: AlarmChanged) -> None:
        rule = self._rule(event.rule)
        step = (event.before, event.after)
        is_now = event.due_ns == self.now_ns
        before_rank = self.priorities.get(event.rule, 0)
        self.priorities[event.rule] = PRIORITY_RANK[event.priority]
        if STATE_RANK[event.after] < STATE_RANK[event.before]:
            assert item is not None, f"silence lowered: {event}"
            assert is_now, f"lowered before the input: {event}"
            if isinstance(item, Reading):
                assert item.value is not None, f"a bad reading lowered: {event}"
                assert item.doubt is None, f"a doubtful reading lowered: {event}"
            assert (
                (step in CLEARS and self._may_clear(rule, item))
                or (step in ANSWERS and self._may_answer(rule, item))
                or step in RESETS
                or self._may_go_out(item)
            ), f"{item} lowered: {event}"
        elif event.after is event.before:
            assert PRIORITY_RANK[event.priority] >= before_rank, f"priority fell: {event}"
        if isinstance(rule.condition, Held) and step == (A, B):
            self._look_at_call(item, event)
        if step == (B, C):
            self.answered_ns[event.rule] = event.due_ns
            self.blind_before_ns[event.rule] = self.blind_ns
        if step == (C, B) and PRIORITY_RANK[event.priority] <= before_rank:
            self._look_at_realarm(rule, event)

    def _look_at_call(self, item: Input | None, event: AlarmChanged) -> None:
        if isinstance(item, Command) and item.verb is Verb.HELP and event.due_ns == self.now_ns:
            return
        held_ns = -1 if self.closed_since_ns is None else event.due_ns - self.closed_since_ns
        if isinstance(item, Contact) and item.contact == "answer" and self.closed_since_ns is None:
            return  # what is let go now had been held until now
        assert held_ns >= HELD_NS, f"a call though the button was held for {held_ns} ns: {event}"

    def _look_at_realarm(self, rule: RulePlan, event: AlarmChanged) -> None:
        quiet_ns = event.due_ns - self.answered_ns[event.rule]
        if rule.killer:
            # Nobody can sound while nothing runs: the quiet is stretched by that.
            quiet_ns -= self.blind_ns - self.blind_before_ns[event.rule]
            assert quiet_ns <= QUIET_NS, f"quiet for {quiet_ns} ns: {event}"
        else:
            least_ns = rule.realarm_ns
            if PRIORITY_RANK[event.priority] > PRIORITY_RANK[rule.priority]:
                least_ns = min(least_ns, HIGH_REALARM_NS)
            assert quiet_ns >= least_ns > 0, f"sounds again after {quiet_ns} ns: {event}"

    def _may_clear(self, rule: RulePlan, item: Input) -> bool:
        limit = self.limits.get(rule.id)
        if limit is None:
            return True
        if not isinstance(item, Reading) or limit.clean_since_ns is None:
            return False
        return item.arrived_ns - limit.clean_since_ns >= rule.off_delay_ns

    def _may_answer(self, rule: RulePlan, item: Input) -> bool:
        if isinstance(item, Contact):
            return item.contact == "answer" and item.state is ContactState.CLOSED
        if not isinstance(item, Command) or item.verb not in (Verb.ACKNOWLEDGE, Verb.START):
            return False
        return item.by is By.WEARER or not rule.killer

    def _may_go_out(self, item: Input) -> bool:
        if isinstance(item, Contact):
            # Asked after a power cut, the button speaks when it is let go.
            return item.contact == "answer" or (
                item.contact == "hook" and item.state is ContactState.CLOSED
            )
        if not isinstance(item, Command) or item.verb not in ENDING:
            return False
        return item.by is By.WEARER or self.worn_since_ns is None

    def _look_at_stage(self, item: Input | None, event: StageChanged) -> None:
        self.moved_ns = event.due_ns
        if event.before is Stage.WORN:
            assert item is not None and self._may_go_out(item), f"{item} ended it: {event}"
        if event.after is Stage.WORN:
            self.worn_since_ns = event.due_ns
        else:
            self.worn_since_ns = None

    def _look_at_demand(self, item: Input | None, event: DemandChanged) -> None:
        before, self.sound = self.sound, event.demand.sound
        silence = item is None or event.due_ns < item.arrived_ns
        if silence or (isinstance(item, Reading) and item.value is None):
            assert SOUND_RANK[self.sound] >= SOUND_RANK[before], f"{item} quieted: {event}"

    # What must be so

    def _look_at_killers(self, watch: Watch) -> None:
        if watch.use.stage is not Stage.WORN:
            return
        assert self.worn_since_ns is not None
        assert watch.use.watches_air()
        for alarm in watch.wiring.alarms:
            if alarm.plan.loss_of_air:
                assert alarm.applies, f"{alarm.plan.id} does not work while worn"
            if not alarm.plan.killer:
                continue
            if alarm.present:
                assert alarm.state in (B, C), f"{alarm.plan.id} is present and {alarm.state}"
            if alarm.state is C:
                quiet_ns = watch.now_ns - alarm.changed_ns
                assert quiet_ns < QUIET_NS, f"{alarm.plan.id} is quiet for {quiet_ns} ns"
            if alarm.state is B:
                assert watch.telling.demand.sound is Sound.HIGH
                if not watch.use.session.asks_hood or alarm.plan.id == "help":
                    assert watch.telling.demand.far is Sound.HIGH
                    assert watch.telling.demand.tell == self.plan.contact_names

    def _look_at_truth(self, watch: Watch) -> None:
        if self.worn_since_ns is None:
            return
        for alarm in watch.wiring.alarms:
            true_since_ns = self._true_since_ns(alarm)
            if true_since_ns is None or Stage.WORN not in alarm.plan.stages:
                continue
            lasted_ns = self.now_ns - max(true_since_ns, self.worn_since_ns)
            if lasted_ns >= alarm.plan.on_delay_ns:
                assert alarm.present, f"{alarm.plan.id} is true for {lasted_ns} ns, unnoticed"

    def _true_since_ns(self, alarm: Alarm) -> int | None:
        """From when a condition is surely present, by the account kept here."""
        condition = alarm.plan.condition
        if alarm.plan.id in self.limits:
            return self.limits[alarm.plan.id].true_since_ns
        if isinstance(condition, Stale) and not condition.followed:
            assert self.worn_since_ns is not None
            heard = [self.good_ns.get(signal, -1) for signal in condition.signals]
            since_ns = max(*heard, self.worn_since_ns) + condition.after_ns
            return since_ns if since_ns <= self.now_ns else None
        if isinstance(condition, OnContact):
            state = self.contacts.get(condition.contact)
            return self.now_ns if state is not None and state.value == condition.when else None
        if alarm.plan.id == "help" and self.closed_since_ns is not None:
            since_ns = self.closed_since_ns + HELD_NS
            return (
                since_ns if self.moved_ns < self.closed_since_ns <= self.now_ns - HELD_NS else None
            )
        return None

    def _rule(self, rule_id: str) -> RulePlan:
        return next(rule for rule in self.plan.rules if rule.id == rule_id)


def _begins(condition: Below | Above, value: float) -> bool:
    return value < condition.limit if isinstance(condition, Below) else value > condition.limit


def _clears(condition: Below | Above, value: float) -> bool:
    if isinstance(condition, Below):
        return value >= condition.limit + condition.deadband
    return value <= condition.limit - condition.deadband
