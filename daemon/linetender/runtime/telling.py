"""From what the core says to what is published: who is told what, and when.

It knows no broker and no clock: the caller gives the instant, the time of day and
the function that publishes.
"""

from collections.abc import Callable
from typing import Protocol

from linetender.annunciation.cause_words import cause_line
from linetender.annunciation.news import News
from linetender.annunciation.payloads import (
    Alarm,
    Wall,
    alarm_payload,
    alive_payload,
    encode,
    event_message,
    state_payload,
    with_cause,
)
from linetender.annunciation.topics import Topics
from linetender.annunciation.words import (
    STILL_ACTIVE,
    alarm_line,
    attendant_line,
    back_line,
    call_line,
    release_line,
    sentence,
    still_line,
)
from linetender.core.alarm_table import AlarmState
from linetender.core.cause import Cause
from linetender.core.events import (
    AlarmChanged,
    CauseNamed,
    Demand,
    DemandChanged,
    Event,
    Sound,
    StageChanged,
)
from linetender.core.instants import SECOND_NS
from linetender.core.plan import Plan
from linetender.core.snapshot import CauseView, Snapshot
from linetender.runtime.absence import Absence

ALIVE_EVERY_NS = SECOND_NS
STATE_EVERY_NS = 10 * SECOND_NS
EVENT_EXPIRY_S = 24 * 3600
SAY_EXPIRY_S = 300
"""A plain line older than this is no news: a phone that wakes later is not shown it."""


class Publish(Protocol):
    """Hands a message to the link to the broker; returns at once and never raises."""

    def __call__(
        self,
        topic: str,
        payload: bytes,
        *,
        qos: int = 0,
        retain: bool = False,
        expiry_s: int | None = None,
    ) -> None:
        """Publish `payload` on `topic`."""


class Teller:
    """Tells the world beyond the room about one run of one station."""

    def __init__(
        self,
        plan: Plan,
        run_id: str,
        publish: Publish,
        *,
        tells_events: bool = True,
        is_connected: Callable[[], bool] = lambda: True,
    ) -> None:
        """Prepare; nothing is told yet.

        Args:
            plan: The station.
            run_id: 8 hex digits, drawn for this run.
            publish: Where messages go.
            tells_events: Whether events are published here: not where an outbox does it.
            is_connected: Whether the broker has accepted the connection. Plain lines do
                not wait for it: when it is back, what still holds is told once.
        """
        self._plan = plan
        self._run = run_id
        self._tells_events = tells_events
        self._publish = publish
        self._topics = Topics(plan.station)
        self._alive_seq = 0
        self._state_seq = 0
        self._alive_due_ns = 0
        self._state_due_ns = 0
        self._since: dict[str, str] = {}
        self._last: dict[str, AlarmChanged] = {}
        self._news = News()
        self._causes: dict[str, CauseNamed | CauseView] = {}
        self._called: tuple[str, ...] = ()
        self._asked = Sound.SILENT
        self._absence = Absence(is_connected)

    @property
    def publish(self) -> Publish:
        """Where messages go."""
        return self._publish

    @property
    def run(self) -> str:
        """The id of this run."""
        return self._run

    @property
    def beat(self) -> int:
        """Number of the last heartbeat; 0 before the first."""
        return self._alive_seq

    def begin(self, snapshot: Snapshot, wall: Wall) -> None:
        """Tell every rule's alarm as it stands, so that none of an earlier run lives on.

        Call it once, before the first `events`.
        """
        views = {view.rule: view for view in snapshot.alarms}
        for rule in self._plan.rules:
            view = views.get(rule.id)
            text = sentence(self._plan, rule.id)
            if view is None:
                alarm = Alarm(self._run, 0, AlarmState.NORMAL, rule.priority, None, text)
            else:
                self._since[rule.id] = wall.at
                alarm = Alarm(self._run, view.n, view.state, view.priority, wall.at, text)
                if view.cause is not None:
                    self._causes[rule.id] = view.cause
                    alarm = with_cause(alarm, view.cause)
            self._keep(self._topics.alarm(rule.id), encode(alarm))
        self.state(snapshot, wall)

    def events(self, events: tuple[Event, ...], snapshot: Snapshot, wall: Wall) -> None:
        """Tell what the core said.

        Args:
            events: In the order in which they fell due.
            snapshot: The station after them.
            wall: The time of day at which they fell due.
        """
        changes_state = False
        for event in events:
            if isinstance(event, AlarmChanged):
                self._alarm_changed(event, snapshot.now_ns, wall.at)
                changes_state = True
            elif isinstance(event, CauseNamed):
                self._cause_named(event)
            elif isinstance(event, StageChanged):
                changes_state = True
            elif isinstance(event, DemandChanged):
                self._call(event.demand)
                changes_state |= event.demand.far is not self._asked
                self._asked = event.demand.far
        if changes_state:
            self.state(snapshot, wall)

    def tick(self, now_ns: int, snapshot: Snapshot, wall: Wall) -> None:
        """Send the heartbeat and the state if they are due; call it about once a second."""
        away_ns = self._absence.ended(now_ns)
        if away_ns is not None:
            self._tell_what_was_missed(away_ns, snapshot)
        self.alive(now_ns, snapshot)
        if now_ns >= self._state_due_ns:
            self.state(snapshot, wall)

    def alive(self, now_ns: int, snapshot: Snapshot) -> None:
        """Send a heartbeat if the last is a second old."""
        if now_ns < self._alive_due_ns:
            return
        # A late call does not move the rhythm; a very late one begins it anew.
        is_very_late = now_ns - self._alive_due_ns >= ALIVE_EVERY_NS
        self._alive_due_ns = (now_ns if is_very_late else self._alive_due_ns) + ALIVE_EVERY_NS
        self._alive_seq += 1
        payload = alive_payload(self._run, self._alive_seq, snapshot)
        self._publish(self._topics.alive, encode(payload))

    def state(self, snapshot: Snapshot, wall: Wall) -> None:
        """Send the station's state now; the next falls due 10 s later."""
        self._state_due_ns = snapshot.now_ns + STATE_EVERY_NS
        self._state_seq += 1
        payload = state_payload(self._run, self._state_seq, wall, snapshot, self._plan)
        self._keep(self._topics.state, encode(payload))

    def attendant(self, box: str, *, calls_for_help: bool) -> None:
        """Tell every contact that the button of an attendant's box was pressed."""
        line = attendant_line(self._plan.station, box, calls_for_help=calls_for_help)
        for name in self._plan.contact_names:
            self._say_to(name, line)

    def _call(self, demand: Demand) -> None:
        """Call the contacts that the core calls from now on; release the others."""
        station = self._plan.station
        for name in demand.tell:
            if name not in self._called:
                self._say_to(name, call_line(station, demand))
        for name in self._called:
            if name not in demand.tell:
                self._say_to(name, release_line(station))
        self._called = demand.tell

    def _say_to(self, name: str, line: str) -> None:
        if not self._absence.hides(name):
            topic = self._topics.contact(name)
            self._publish(topic, line.encode(), qos=1, expiry_s=SAY_EXPIRY_S)

    def _say(self, line: str) -> None:
        if not self._absence.hides():
            self._publish(self._topics.say, line.encode(), qos=1, expiry_s=SAY_EXPIRY_S)

    def _tell_what_was_missed(self, away_ns: int, snapshot: Snapshot) -> None:
        """Say each alarm that is still active once, and in one line that much was missed."""
        active = [view for view in snapshot.alarms if view.state in STILL_ACTIVE]
        owed, missed = self._absence.settle()
        if not active and not missed:
            return
        for view in active:
            self._say(still_line(view, snapshot.now_ns, self._plan))
        for name in owed:
            called = name in snapshot.demand.tell
            station = self._plan.station
            line = call_line(station, snapshot.demand) if called else release_line(station)
            self._say_to(name, line)
        self._say(back_line(self._plan.station, away_ns, missed, len(active)))

    def _alarm_changed(self, event: AlarmChanged, told_ns: int, at: str) -> None:
        if event.after is AlarmState.NORMAL:
            self._since.pop(event.rule, None)
            self._causes.pop(event.rule, None)
        else:
            self._since.setdefault(event.rule, at)
        self._last[event.rule] = event
        self._tell_alarm(event.rule)
        if self._tells_events:
            message = event_message(self._run, event, at, told_ns)
            self._publish(self._topics.event, encode(message), qos=1, expiry_s=EVENT_EXPIRY_S)
        if self._news.is_news(event):
            self._say(alarm_line(event, self._plan))

    def _cause_named(self, event: CauseNamed) -> None:
        self._causes[event.rule] = event
        self._tell_alarm(event.rule)
        last = self._last.get(event.rule)
        if last is not None and event.cause is not Cause.NOT_CLEAR:
            self._say(cause_line(event, last.priority))

    def _tell_alarm(self, rule: str) -> None:
        last = self._last.get(rule)
        if last is None:
            return
        payload = alarm_payload(
            self._run, last, self._since.get(rule), self._plan, self._causes.get(rule)
        )
        self._keep(self._topics.alarm(rule), encode(payload))

    def _keep(self, topic: str, payload: bytes) -> None:
        self._publish(topic, payload, qos=1, retain=True)
