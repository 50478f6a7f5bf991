"""What is published, as JSON: the shapes of every payload and how they are made.

Each has `v: 1`; a reader ignores keys it does not know. A number that is not
finite never leaves: it becomes null with a reason, as JSON has no word for it.
"""

import math
from typing import NamedTuple

import msgspec

from linetender.annunciation.cause_words import cause_sentence, thing_to_do
from linetender.annunciation.words import sentence
from linetender.core.alarm_table import AlarmState
from linetender.core.events import AlarmChanged, CauseNamed, Sound
from linetender.core.inputs import Quality
from linetender.core.instants import SECOND_NS, to_seconds
from linetender.core.plan import Plan
from linetender.core.signals import SIGNAL_FACTS, Signal
from linetender.core.snapshot import AlarmView, CauseView, SignalView, Snapshot
from linetender.core.stages import Priority, Stage

LATE_NS = 5 * SECOND_NS
"""An event told later than this after it happened is marked late."""


class Wall(NamedTuple):
    """The time of day, for people: it orders nothing.

    Attributes:
        at: ISO 8601 text with its offset.
        synchronised: Whether the machine's clock is known to be right.
    """

    at: str
    synchronised: bool


class Alive(msgspec.Struct, frozen=True):
    """The heartbeat.

    Attributes:
        run: 8 hex digits, drawn at each start of the station.
        seq: Counts heartbeats from 1 within a run.
        stage: Stage of use.
        shown: Highest number of an alarm's transition that the station has told.
        far: What second boxes are asked to sound.
        v: Version of the shape.
    """

    run: str
    seq: int
    stage: Stage
    shown: int
    far: Sound = Sound.SILENT
    v: int = 1


class SignalState(msgspec.Struct, frozen=True):
    """A signal as last heard.

    Attributes:
        value: In the signal's unit, rounded to its resolution; or None.
        reason: Why there is no value.
        quality: good, degraded or bad.
        age_s: Time since it was heard (s), or None when it never was.
        uncertainty: Standard uncertainty of the value, in its unit; left out where not known.
    """

    value: float | None
    reason: str | None
    quality: Quality
    age_s: float | None
    uncertainty: float | msgspec.UnsetType = msgspec.UNSET


class AlarmSummary(msgspec.Struct, frozen=True):
    """An alarm within the state: see `Alarm`."""

    rule: str
    n: int
    state: AlarmState
    priority: Priority
    text: str


class State(msgspec.Struct, frozen=True):
    """The whole station at a glance; retained.

    Attributes:
        run: See `Alive`.
        seq: Counts these snapshots from 1 within a run.
        at: Time of day (ISO 8601).
        synchronised: Whether that clock is known to be right.
        stage: Stage of use.
        signals: By name, the unit being in the name.
        alarms: Those that are not normal.
        far: What second boxes are asked to sound.
        v: Version of the shape.
    """

    run: str
    seq: int
    at: str
    synchronised: bool
    stage: Stage
    signals: dict[Signal, SignalState]
    alarms: tuple[AlarmSummary, ...]
    far: Sound = Sound.SILENT
    v: int = 1


class Alarm(msgspec.Struct, frozen=True):
    """The alarm of one rule; retained.

    Attributes:
        run: See `Alive`; `n` counts within it.
        n: Number of its last transition; 0 when it had none.
        state: State.
        priority: Priority.
        since: Time of day at which it was raised, or None while normal.
        text: One sentence.
        do: One thing to do, once a likely cause is known; else empty.
        cause: The likely cause in a sentence, or empty.
        v: Version of the shape.
    """

    run: str
    n: int
    state: AlarmState
    priority: Priority
    since: str | None
    text: str
    do: str = ""
    cause: str = ""
    v: int = 1


class EventMessage(msgspec.Struct, frozen=True, rename={"before": "from", "after": "to"}):
    """One transition of an alarm.

    Attributes:
        id: `<run>-<n>`: a reader drops an id it has had.
        rule: Id of the rule.
        before: State before; `from` in JSON.
        after: State after; `to` in JSON.
        at: Time of day.
        late_s: How long after it happened it is told (s), where that is over 5 s.
        v: Version of the shape.
    """

    id: str
    rule: str
    before: AlarmState
    after: AlarmState
    at: str
    late_s: float | None = None
    v: int = 1


class LostEvents(msgspec.Struct, frozen=True):
    """Stands among the events where some were given up, because too many waited.

    Attributes:
        id: As of an event.
        lost: How many.
        at: Time of day of the first of them.
        late_s: See `EventMessage`.
        v: Version of the shape.
    """

    id: str
    lost: int
    at: str
    late_s: float | None = None
    v: int = 1


def event_id(run: str, n: int) -> str:
    """Return the id of a transition, unique among all runs of a station."""
    return f"{run}-{n}"


def alive_payload(run: str, seq: int, snapshot: Snapshot) -> Alive:
    """Make a heartbeat."""
    return Alive(run, seq, snapshot.stage, snapshot.n, snapshot.demand.far)


def state_payload(run: str, seq: int, wall: Wall, snapshot: Snapshot, plan: Plan) -> State:
    """Make the snapshot that others see."""
    return State(
        run,
        seq,
        wall.at,
        wall.synchronised,
        snapshot.stage,
        {view.signal: _signal_state(view) for view in snapshot.signals},
        tuple(_alarm_summary(view, plan) for view in snapshot.alarms),
        snapshot.demand.far,
    )


def event_message(run: str, event: AlarmChanged, at: str, told_ns: int) -> EventMessage:
    """Make the message of one transition.

    Args:
        run: This run of the station.
        event: The transition.
        at: Time of day of the transition.
        told_ns: When it is told, in the event's own time.
    """
    late_ns = told_ns - event.due_ns
    late_s = round(to_seconds(late_ns), 1) if late_ns > LATE_NS else None
    return EventMessage(event_id(run, event.n), event.rule, event.before, event.after, at, late_s)


def alarm_payload(
    run: str,
    event: AlarmChanged,
    since: str | None,
    plan: Plan,
    cause: CauseNamed | CauseView | None = None,
) -> Alarm:
    """Make the retained state of one rule's alarm after a transition.

    Args:
        run: This run of the station.
        event: The transition.
        since: Time of day at which the alarm was raised; None once it is normal.
        plan: For the sentence.
        cause: What probably happened, if that has been named.
    """
    text = sentence(plan, event.rule)
    alarm = Alarm(run, event.n, event.after, event.priority, since, text)
    return alarm if cause is None else with_cause(alarm, cause)


def with_cause(alarm: Alarm, cause: CauseNamed | CauseView) -> Alarm:
    """Return an alarm with the words for its likely cause, and for what to do."""
    do = thing_to_do(cause, alarm.priority)
    return msgspec.structs.replace(alarm, do=do, cause=cause_sentence(cause))


def encode(payload: msgspec.Struct) -> bytes:
    """Return a payload as JSON in UTF-8."""
    return msgspec.json.encode(payload)


def _signal_state(view: SignalView) -> SignalState:
    age_s = None if view.age_ns is None else round(to_seconds(view.age_ns), 1)
    if view.value is not None and not math.isfinite(view.value):
        return SignalState(None, "not_finite", Quality.BAD, age_s)
    value = None if view.value is None else round(view.value, SIGNAL_FACTS[view.signal].decimals)
    doubt = msgspec.UNSET if view.uncertainty is None else view.uncertainty
    return SignalState(value, view.reason, view.quality, age_s, doubt)


def _alarm_summary(view: AlarmView, plan: Plan) -> AlarmSummary:
    return AlarmSummary(view.rule, view.n, view.state, view.priority, sentence(plan, view.rule))
