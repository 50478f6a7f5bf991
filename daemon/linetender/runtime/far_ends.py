"""What second boxes send, turned into what the core understands.

A confirmation becomes a Fact; a press at a wearer's box is the wearer's tap or hold;
one at an attendant's is recorded and told to the contacts, and changes nothing else.
What does not count is counted, and told in the log now and then.
"""

import logging
from collections import Counter

from linetender.annunciation.acceptance import Acceptance, Refusal, read, stale
from linetender.annunciation.far_payloads import Confirm, Gesture, Press, Role
from linetender.annunciation.topics import Topics
from linetender.core.alarm_table import SOUNDING
from linetender.core.events import Sound
from linetender.core.fact_names import FactName
from linetender.core.inputs import By, ContactState, Verb
from linetender.core.plan import Plan
from linetender.core.snapshot import Snapshot
from linetender.runtime.inbox import Inbox
from linetender.runtime.incoming import Received, Wanted
from linetender.runtime.telling import Teller
from linetender_drivers.measurements import ContactChange

_LOG = logging.getLogger(__name__)

ANSWER = "answer"
"""The contact that a wearer's button is, wired or at a second box."""


def wanted_by_station(topics: Topics, *, commands: bool = False) -> tuple[Wanted, ...]:
    """Return what a station subscribes to: second boxes, itself, users; nothing that was kept."""
    return (
        *((Wanted(topics.any_command),) if commands else ()),
        Wanted(topics.selftest),
        Wanted(topics.any_confirm),
        Wanted(topics.any_press),
        Wanted(topics.any_forward, qos=0),
    )


class Refusals:
    """Counts what does not count, and logs the 1st, 10th, 100th, … of a kind."""

    def __init__(self) -> None:
        self.counts: Counter[Refusal | str] = Counter()

    def note(self, what: str, who: str, why: Refusal | str) -> None:
        """Count one."""
        self.counts[why] += 1
        count = self.counts[why]
        if count == 10 ** (len(str(count)) - 1):
            reason = why.value if isinstance(why, Refusal) else why
            _LOG.warning("%s from %.32r does not count (no. %d): %s", what, who, count, reason)


class FarEnds:
    """Hears the second boxes of one run of a station.

    Args:
        plan: Names the boxes with their roles.
        teller: Knows the run and its heartbeat, and tells contacts.
        inbox: Where the core's inputs go.
    """

    def __init__(self, plan: Plan, teller: Teller, inbox: Inbox) -> None:
        self._roles = {box.name: Role(box.role) for box in plan.far_ends}
        self._topics = Topics(plan.station)
        self._teller = teller
        self._inbox = inbox
        self._presses = Acceptance(teller.run, Press, _is_call_for_help)
        self.refusals = Refusals()

    def take(self, received: Received, snapshot: Snapshot) -> None:
        """Take a message of a box.

        Args:
            received: What came.
            snapshot: The station now.
        """
        box = self._topics.sender(received.topic)
        if box not in self._roles:
            why = "the station file names no such box"
            self.refusals.note("a message", box, why)
        elif received.topic == self._topics.confirm(box):
            self._confirmed(box, received, snapshot)
        elif received.topic == self._topics.press(box):
            self._pressed(box, received, snapshot)

    def _confirmed(self, box: str, received: Received, snapshot: Snapshot) -> None:
        confirm = read(received.payload, received.retained, Confirm)
        why = confirm if isinstance(confirm, Refusal) else self._stale(confirm)
        if why is not None:
            self.refusals.note("a confirmation", box, why)
        elif isinstance(confirm, Confirm) and sounds_as_asked(confirm, snapshot):
            self._inbox.note(FactName.FAR_END_CONFIRMED, box)

    def _stale(self, message: Confirm) -> Refusal | None:
        return stale(message, self._teller.run, self._teller.beat)

    def _pressed(self, box: str, received: Received, snapshot: Snapshot) -> None:
        press = self._presses.take(
            box, received.payload, retained=received.retained, beat=self._teller.beat
        )
        if isinstance(press, Refusal):
            self.refusals.note("a press", box, press)
        elif self._roles[box] is Role.ATTENDANT:
            calls = press.gesture is Gesture.HOLD
            self._inbox.note(FactName.FAR_END_PRESSED, box, press.gesture.value)
            self._teller.attendant(box, calls_for_help=calls)
        elif press.gesture is Gesture.HOLD:
            self._inbox.command(Verb.HELP, By.WEARER, source=box)
        elif unseen(press.shown, snapshot):
            self._inbox.command(Verb.ACKNOWLEDGE, By.WEARER, shown=press.shown, source=box)
        else:
            # All that sounds was sounded there: the tap means what a wired one would.
            for state in (ContactState.CLOSED, ContactState.OPEN):
                self._inbox.contact(box, ContactChange(ANSWER, state))


def sounds_as_asked(confirm: Confirm, snapshot: Snapshot) -> bool:
    """Say whether a box that should sound does, or has: one with a dead sounder does not."""
    if snapshot.demand.far is Sound.SILENT or confirm.sounding is not Sound.SILENT:
        return True
    return not unseen(confirm.shown, snapshot)


def unseen(shown: int, snapshot: Snapshot) -> bool:
    """Say whether an alarm sounds that is newer than what was shown."""
    return any(view.state in SOUNDING and view.n > shown for view in snapshot.alarms)


def _is_call_for_help(press: Press) -> bool:
    return press.gesture is Gesture.HOLD
