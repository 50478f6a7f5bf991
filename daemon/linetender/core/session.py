"""One use of the hood: since when it lasts, and what is asked after it and after a power cut.

After the end the lamp blinks for half a minute, and a tap marks the last LEAVE as false.
After a power cut in mid-use the box asks "was the hood on?": a tap says that it is off,
holding the button calls for help, and silence or a pulse means that somebody must come.
"""

from linetender.core.alarm import Alarm
from linetender.core.conditions.held import HeldCondition
from linetender.core.conditions.level import ANYWHERE, NOWHERE
from linetender.core.events import Cue, FalseLeave
from linetender.core.fact_names import FactName
from linetender.core.inputs import Fact
from linetender.core.instants import NEVER_NS, SECOND_NS
from linetender.core.journal import Journal
from linetender.core.means import MeanListener
from linetender.core.prompts import Prompts
from linetender.core.stages import Priority

FALSE_LEAVE_NS = 30 * SECOND_NS
"""So long after the end a tap marks the last LEAVE as false."""

HOOD_ASKED_NS = 60 * SECOND_NS
"""Silence of so long after "was the hood on?" brings somebody."""

TAP_NS = 2 * SECOND_NS
"""Let go within this, a press is a tap; longer, it is a call for help."""

REMIND_NS = 3 * SECOND_NS
"""How long a reminder of the time is put (chosen: its few chirps sound once)."""


class Session(MeanListener):
    """The use of now, or the one that ended last.

    Attributes:
        worn_ns: When the hood went on; NEVER_NS while it is off.
        reminded_ns: When the wearer was reminded of the time last.
        leave_rule, leave_n: The last LEAVE of the use that ended, while it can be marked.
        asked_ns: When "was the hood on?" was asked; NEVER_NS while it is not.
        pressed_ns: When the button went down for an answer to it.
        blind: In words how long the station was blind; empty once somebody has answered.
        unanswered: Whether nobody said if the hood was on.
        facts: What the core itself has to say, not yet taken by the rules.
    """

    __slots__ = (
        "_journal",
        "_remind_ns",
        "asked_ns",
        "blind",
        "facts",
        "leave_n",
        "leave_rule",
        "pressed_ns",
        "prompts",
        "reminded_ns",
        "unanswered",
        "worn_ns",
    )

    INSTANTS = ("worn_ns", "reminded_ns", "asked_ns", "pressed_ns")
    VALUES = ("leave_rule", "leave_n", "blind", "unanswered")

    def __init__(self, remind_ns: int, prompts: Prompts, journal: Journal) -> None:
        self._remind_ns = remind_ns
        self.prompts = prompts
        self._journal = journal
        self.worn_ns = self.reminded_ns = NEVER_NS
        self.asked_ns = self.pressed_ns = NEVER_NS
        self.leave_rule, self.leave_n = "", 0
        self.blind = ""
        self.unanswered = False
        self.facts: list[Fact] = []

    # A use

    def begin(self, now_ns: int) -> None:
        """The hood is on."""
        self.worn_ns = self.reminded_ns = now_ns
        self.close_false_leave()

    def end(self, now_ns: int, alarms: list[Alarm]) -> None:
        """The use has ended; open the question about its last LEAVE, where there was one."""
        self._close_hood()
        self.reassure(now_ns)
        leaves = [alarm for alarm in alarms if self._said_leave(alarm)]
        self.worn_ns = self.reminded_ns = NEVER_NS
        if leaves:
            last = max(leaves, key=lambda alarm: (alarm.since_ns, alarm.raised_n))
            self.leave_rule, self.leave_n = last.plan.id, last.raised_n
            self.prompts.put(Cue.ASKS, now_ns + FALSE_LEAVE_NS)

    def _said_leave(self, alarm: Alarm) -> bool:
        # The wearer's own call is no word of the tool's.
        is_own = isinstance(alarm.condition, HeldCondition)
        in_use = self.worn_ns != NEVER_NS and alarm.since_ns >= self.worn_ns
        return alarm.priority is Priority.HIGH and in_use and not is_own

    @property
    def asks_false_leave(self) -> bool:
        """Whether a tap would mark the last LEAVE as false."""
        return bool(self.leave_rule) and self.prompts.cue is Cue.ASKS

    def mark_false(self, now_ns: int) -> None:
        """The wearer says that the last LEAVE was false."""
        self._journal.events.append(FalseLeave(now_ns, self.leave_n, self.leave_rule))
        self.close_false_leave()

    def close_false_leave(self) -> None:
        """Nobody asks any more."""
        if self.leave_rule:
            self.leave_rule, self.leave_n = "", 0
            self.prompts.take_back(Cue.ASKS)

    # After a restart

    def resume(self, now_ns: int, blind_ns: int | None) -> None:
        """Go on with a use after a time without watching; None means that power was cut."""
        before, self.blind = self.blind, f"blind for {blind_words(blind_ns)}"
        self.facts.append(Fact(now_ns, FactName.RESUMED, True, self.blind))
        if before not in ("", self.blind):
            # After the new one, so that nothing is lowered in between.
            self.facts.append(Fact(now_ns, FactName.RESUMED, False, before))
        if blind_ns is None:
            self.asked_ns = now_ns
            self.pressed_ns = NEVER_NS
            self.prompts.asks_hood = True
            self.prompts.put(Cue.ASKS, now_ns + HOOD_ASKED_NS)

    @property
    def asks_hood(self) -> bool:
        """Whether "was the hood on?" waits for its answer."""
        return self.asked_ns != NEVER_NS

    def press(self, now_ns: int) -> None:
        """The button went down while the question is open."""
        self.pressed_ns = now_ns

    def release(self, now_ns: int) -> bool:
        """The button was let go; say whether it was the tap that says "off"."""
        was_tap = self.pressed_ns != NEVER_NS and now_ns < self.pressed_ns + TAP_NS
        held = self.pressed_ns != NEVER_NS and not was_tap
        self.pressed_ns = NEVER_NS
        if held:
            self._close_hood()
        return was_tap

    def see_mean(self, now_ns: int, mean: float | None) -> bool:
        """Take a mean of the pulse: somebody wears the hood, and another must know at once.

        Returns:
            Whether that changed anything.
        """
        if mean is None or not self.prompts.asks_hood:
            return False
        self._escalate(now_ns)
        return True

    def pass_means(self, closed: list[tuple[int, float]]) -> None:
        """Nobody asks: a pulse says nothing new."""

    def quiet_means(self) -> tuple[float, float]:
        """Any, unless the hood is asked for."""
        return NOWHERE if self.prompts.asks_hood else ANYWHERE

    def reassure(self, now_ns: int) -> None:
        """Somebody at the station answered: what the core itself had to say is over."""
        if self.asks_hood:
            return
        if self.blind:
            self.facts.append(Fact(now_ns, FactName.RESUMED, False, self.blind))
            self.blind = ""
        if self.unanswered:
            self.facts.append(Fact(now_ns, FactName.POWER_CUT_UNANSWERED, False))
            self.unanswered = False

    def _escalate(self, now_ns: int) -> None:
        self._close_hood()
        self.unanswered = True
        self.facts.append(Fact(now_ns, FactName.POWER_CUT_UNANSWERED, True))

    def _close_hood(self) -> None:
        if self.asks_hood:
            self.asked_ns = NEVER_NS
            self.prompts.asks_hood = False
            self.prompts.take_back(Cue.ASKS)

    # Time

    def due_ns(self) -> int:
        """Return the next instant at which silence changes anything here, or NEVER_NS."""
        if self.facts:
            return 0
        due_ns = NEVER_NS if not self.asks_hood else self.asked_ns + HOOD_ASKED_NS
        if self._remind_ns and self.worn_ns != NEVER_NS:
            due_ns = min(due_ns, self.reminded_ns + self._remind_ns)
        return due_ns

    def fall_due(self, now_ns: int) -> None:
        """Do what falls due at this instant."""
        if self.asks_hood and now_ns >= self.asked_ns + HOOD_ASKED_NS:
            self._escalate(now_ns)
        reminds = self._remind_ns and self.worn_ns != NEVER_NS
        if reminds and now_ns >= self.reminded_ns + self._remind_ns:
            self.reminded_ns = now_ns
            if not self.asks_hood:
                self.prompts.put(Cue.REMINDS, now_ns + REMIND_NS)
        if self.leave_rule and self.prompts.until_ns <= now_ns:
            self.close_false_leave()


def blind_words(blind_ns: int | None) -> str:
    """Say for how long nothing was watched before a restart.

    It is known only since when: from the state kept last, which is at each event and once a
    minute. The run before may have watched for up to a minute after that.

    Args:
        blind_ns: Time since then; None where the power was cut.
    """
    return "an unknown time" if blind_ns is None else f"at most {-(-blind_ns // SECOND_NS)} s"
