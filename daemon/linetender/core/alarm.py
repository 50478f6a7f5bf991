"""One alarm: a condition, its delays, and a row of the state table.

The order is comparator with hysteresis, then delay, then state. An on-delay ends
early only when the condition is absent, which for a level means at its clear limit.
One that only doubtful readings began, a doubtful reading beyond that limit ends too:
else a single low reading of a shaken probe would be counted to the end of the delay.
"""

from linetender.core.alarm_table import AFTER, SOUNDING, AlarmEvent, AlarmState
from linetender.core.conditions.condition import ABSENT, PRESENT, Condition
from linetender.core.instants import NEVER_NS, SECOND_NS
from linetender.core.journal import Journal
from linetender.core.plan import RulePlan
from linetender.core.stages import Priority

HIGH_REALARM_NS = 60 * SECOND_NS
"""An answered alarm that has risen to HIGH sounds again at least this often (contract of §5)."""

KILLER_QUIET_NS = 15 * SECOND_NS
"""An answer to a rule that can kill buys this much quiet at most, whatever the plan says."""

CHATTER_RAISES = 3
CHATTER_WITHIN_NS = 60 * SECOND_NS
"""Sets and clears three times in a minute: chattering (public alarm-management practice)."""


class Alarm:
    """The life of one rule's alarm.

    Attributes:
        state: Its state; only the table changes it.
        present: Whether the condition held through the on-delay and has not cleared.
        priority: Now; it may rise with time.
        n: Number of its last transition.
        changed_ns: When that was.
        applies: Whether the rule works in the present stage.
        withheld: Whether another alarm suppresses a new raise.
        is_out: Whether it is suppressed because the wearer is deliberately out.
        chatters: Whether it set and cleared so often that its off-delay was lengthened.
        raised_n: Number of the transition with which it last began to sound, or rose.
    """

    __slots__ = (
        "_journal",
        "applies",
        "changed_ns",
        "chatters",
        "clear_due_ns",
        "condition",
        "is_out",
        "n",
        "plan",
        "present",
        "priority",
        "raise_due_ns",
        "raised",
        "raised_n",
        "realarm_due_ns",
        "rise_due_ns",
        "since_ns",
        "state",
        "withheld",
    )

    INSTANTS = (
        "changed_ns",
        "since_ns",
        "raise_due_ns",
        "clear_due_ns",
        "rise_due_ns",
        "realarm_due_ns",
    )
    VALUES = (
        "state",
        "present",
        "priority",
        "n",
        "applies",
        "withheld",
        "is_out",
        "chatters",
        "raised_n",
    )
    SERIES = ("raised",)

    def __init__(self, plan: RulePlan, condition: Condition, journal: Journal) -> None:
        self.plan = plan
        self.condition = condition
        self._journal = journal
        self.state = AlarmState.NORMAL
        self.priority: Priority = plan.priority
        self.present = False
        self.applies = False
        self.withheld = False
        self.is_out = False
        self.chatters = False
        self.n = self.raised_n = 0
        self.changed_ns = -NEVER_NS
        self.since_ns = -NEVER_NS
        self.raise_due_ns = NEVER_NS
        self.clear_due_ns = NEVER_NS
        self.rise_due_ns = NEVER_NS
        self.realarm_due_ns = NEVER_NS
        self.raised: list[tuple[int, float]] = []

    # What others ask

    @property
    def sounds(self) -> bool:
        """Whether it asks to be heard."""
        return self.state in SOUNDING

    @property
    def must_see(self) -> bool:
        """Whether every good reading must be looked at, rather than passed by the guard."""
        return self.present and self.condition.verdict is ABSENT

    def due_ns(self) -> int:
        """Return the next instant at which silence alone changes this alarm."""
        return min(self.raise_due_ns, self.rise_due_ns, self.realarm_due_ns)

    # What happens to it

    def judge(self, now_ns: int, *, good: bool = True) -> None:
        """Act on the condition's verdict.

        Args:
            now_ns: The instant.
            good: Whether something valid was seen. Silence, faults and doubtful values
                may raise or hold an alarm; they clear nothing.
        """
        self.condition.refresh()
        verdict = self.condition.verdict
        if verdict is PRESENT:
            self.clear_due_ns = NEVER_NS
            if not self.present and self.applies and self.raise_due_ns == NEVER_NS:
                self._start_on_delay(now_ns)
            self._release(now_ns)
        elif verdict is ABSENT and good:
            self.raise_due_ns = NEVER_NS
            if self.present:
                self._run_off_delay(now_ns)
        else:
            self.clear_due_ns = NEVER_NS
            if self.condition.is_withdrawn:
                self.raise_due_ns = NEVER_NS

    def fall_due(self, due_ns: int) -> None:
        """Do what fell due at this instant."""
        if self.raise_due_ns <= due_ns:
            self._raise(due_ns)
        if self.rise_due_ns <= due_ns:
            self._rise(due_ns)
        if self.realarm_due_ns <= due_ns:
            self.realarm_due_ns = NEVER_NS
            if self.applies:
                self._step(AlarmEvent.REALARM, due_ns, "not answered for good")

    def restart_off_delay(self) -> None:
        """Begin the off-delay anew with the next good reading: one was bad, or there was a gap."""
        self.clear_due_ns = NEVER_NS

    def apply(self, now_ns: int, applies: bool) -> None:
        """Note whether the rule works in the present stage; leaving stops only a new raise."""
        if applies == self.applies:
            return
        self.applies = applies
        if not applies:
            self.raise_due_ns = NEVER_NS
            return
        self.condition.begin(now_ns)
        self.judge(now_ns, good=False)

    def conclude(self, now_ns: int) -> None:
        """Clear at once: a person ended the condition, so no reading has to prove it."""
        self.condition.refresh()
        if self.condition.verdict is PRESENT:
            return
        self.raise_due_ns = NEVER_NS
        if self.present:
            self._clear(now_ns)

    def enter(self, now_ns: int) -> None:
        """Come back if present: the wearer, who was out, enters pre-use or puts the hood on."""
        if self.is_out and self.present and self.applies:
            self.is_out = False
            if self.plan.rises_to is not None and self.priority is self.plan.priority:
                self.rise_due_ns = now_ns + self.plan.rises_to.after_ns
            self._step(AlarmEvent.RELEASE_PRESENT, now_ns, "still present")

    def withhold(self, now_ns: int, withheld: bool) -> None:
        """Note whether another alarm suppresses a new raise of this one; never of a killer."""
        if withheld == self.withheld or self.plan.killer:
            return
        self.withheld = withheld
        self._release(now_ns)

    def acknowledge(self, now_ns: int, who: str) -> None:
        """Answer it."""
        before = self.state
        self._step(AlarmEvent.ACKNOWLEDGE, now_ns, who)
        if self.state is AlarmState.ACKNOWLEDGED and before is not self.state:
            quiet_ns = self._quiet_ns()
            self.realarm_due_ns = now_ns + quiet_ns if quiet_ns else NEVER_NS

    def reset(self, now_ns: int, who: str) -> None:
        """End it for good, where it has been answered and its condition is gone."""
        self._step(AlarmEvent.RESET, now_ns, who)

    def go_out(self, now_ns: int, who: str) -> None:
        """Fall silent because the wearer is deliberately out of the hood."""
        event = AlarmEvent.OUT_PRESENT if self.present else AlarmEvent.OUT_ABSENT
        # A raise that is still delayed goes on, where the rule works in the new stage.
        self.rise_due_ns = self.realarm_due_ns = NEVER_NS
        self._step(event, now_ns, who)
        self.is_out = self.state is AlarmState.SUPPRESSED

    # How it does it

    def _release(self, now_ns: int) -> None:
        """Sound what was suppressed, unless its condition is gone and only its off-delay runs."""
        waits = self.state is AlarmState.SUPPRESSED and not self.withheld and not self.is_out
        if waits and self.condition.verdict is not ABSENT:
            self._step(AlarmEvent.RELEASE_PRESENT, now_ns, "no longer suppressed")

    def _quiet_ns(self) -> int:
        quiet_ns = self.plan.realarm_ns
        if self.priority is Priority.HIGH and self.plan.priority is not Priority.HIGH:
            quiet_ns = min(quiet_ns or HIGH_REALARM_NS, HIGH_REALARM_NS)
        if self.plan.killer:
            quiet_ns = min(quiet_ns or KILLER_QUIET_NS, KILLER_QUIET_NS)
        return quiet_ns

    def _start_on_delay(self, now_ns: int) -> None:
        self.raise_due_ns = now_ns + self.plan.on_delay_ns
        if self.raise_due_ns == now_ns:
            self._raise(now_ns)

    def _raise(self, due_ns: int) -> None:
        self.raise_due_ns = NEVER_NS
        self.present = True
        self.priority = self.plan.priority
        if self.plan.rises_to is not None:
            self.rise_due_ns = due_ns + self.plan.rises_to.after_ns
        self._count_raise(due_ns)
        event = AlarmEvent.WITHHOLD if self.withheld else AlarmEvent.RAISE
        self._step(event, due_ns, "chattering" if self.chatters else self.condition.why)

    def _run_off_delay(self, now_ns: int) -> None:
        if self.clear_due_ns == NEVER_NS:
            # A chattering alarm is held for longer, so that it sounds once and stays.
            off_ns = max(self.plan.off_delay_ns, CHATTER_WITHIN_NS if self.chatters else 0)
            self.clear_due_ns = now_ns + off_ns
        if now_ns >= self.clear_due_ns:
            self._clear(now_ns)

    def _clear(self, now_ns: int) -> None:
        self.clear_due_ns = self.rise_due_ns = self.realarm_due_ns = NEVER_NS
        self.present = self.is_out = self.chatters = False
        event = AlarmEvent.CLEAR_LATCHING if self.plan.latching else AlarmEvent.CLEAR
        self._step(event, now_ns, self.condition.why)

    def _rise(self, due_ns: int) -> None:
        self.rise_due_ns = NEVER_NS
        if self.plan.rises_to is None:
            return
        self.priority = self.plan.rises_to.priority
        self.realarm_due_ns = NEVER_NS
        self._step(AlarmEvent.RISE, due_ns, "priority rose", always=True)

    def _count_raise(self, due_ns: int) -> None:
        self.raised = [r for r in self.raised if due_ns - r[0] < CHATTER_WITHIN_NS]
        self.raised.append((due_ns, 1.0))
        if len(self.raised) >= CHATTER_RAISES and not self.plan.killer:
            self.chatters = True

    def _step(self, event: AlarmEvent, due_ns: int, why: str, *, always: bool = False) -> None:
        before = self.state
        self.state = AFTER[before][event]
        if self.state is before and not always:
            return
        self.changed_ns = due_ns
        if self.state is AlarmState.UNACKNOWLEDGED and before is not AlarmState.ACKNOWLEDGED:
            self.since_ns = due_ns
        self.n = self._journal.alarm_changed(due_ns, self, before, why)
        if event in (AlarmEvent.RAISE, AlarmEvent.RISE, AlarmEvent.RELEASE_PRESENT):
            self.raised_n = self.n
