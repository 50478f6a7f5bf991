"""Commands over the broker: off unless asked for, and only where a broker guards them.

Who sent a command is its topic, so a broker that lets anybody write any topic makes
commands worthless. The station tries: it writes one in nobody's name, and unless the
broker refuses that (reason 135), commands stay off and the station says why.
"""

import logging
from collections.abc import Callable

from linetender.annunciation.acceptance import Acceptance, Refusal
from linetender.annunciation.far_payloads import Order, Reply
from linetender.annunciation.payloads import encode
from linetender.annunciation.topics import NOBODY, Topics
from linetender.core.alarm_table import AlarmState
from linetender.core.fact_names import FactName
from linetender.core.inputs import By, Command, Verb
from linetender.core.plan import Plan
from linetender.core.snapshot import Snapshot
from linetender.core.telling import LONGEST_PAUSE_NS
from linetender.runtime.far_ends import Refusals
from linetender.runtime.inbox import Inbox
from linetender.runtime.incoming import Received
from linetender.runtime.permission import NOT_AUTHORISED
from linetender.runtime.telling import Publish, Teller

_LOG = logging.getLogger(__name__)

REPLY_EXPIRY_S = 5

ALLOWED = frozenset(
    {Verb.ACKNOWLEDGE, Verb.PAUSE_SOUND, Verb.RESET, Verb.PRE_USE, Verb.START, Verb.END, Verb.OUT}
)
"""What may be asked from afar at all; the core refuses more while the hood is worn."""

_ENDING = frozenset({Verb.END, Verb.OUT, Verb.RESET})
_ACTIVE = frozenset({AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED, AlarmState.LATCHED})


class CommandGuard:
    """Whether the broker guards commands. Its state is set on the link's thread.

    Args:
        station: Id of the station.
    """

    def __init__(self, station: str) -> None:
        self._topic = Topics(station).forbidden_command
        self._reason: int | None = None
        self._publish: Publish | None = None
        self._is_connected = False

    def try_it(self, publish: Publish) -> None:
        """Write a command in nobody's name at each connection, also the one that stands."""
        self._publish = publish
        if self._is_connected:
            self.connected()

    def connected(self) -> None:
        """Try the broker, who may be another one, or have another list than before."""
        self._is_connected = True
        self._reason = None
        if self._publish is not None:
            self._publish(self._topic, b"{}", qos=1)

    def answered(self, topic: str, reason: int) -> None:
        """Take the broker's answer to a publish."""
        if topic == self._topic:
            self._reason = reason

    @property
    def is_guarded(self) -> bool | None:
        """True, False, or None as long as the broker has not answered."""
        return None if self._reason is None else self._reason == NOT_AUTHORISED


class RemoteCommands:
    """Takes the commands of one run.

    Args:
        plan: The station.
        guard: Whether the broker guards them.
        teller: Knows the run and its heartbeat.
        inbox: Where the core's inputs go.
        publish: Where replies go.
        refusal: Why the core would refuse a command now, or None.
    """

    def __init__(
        self,
        plan: Plan,
        guard: CommandGuard,
        teller: Teller,
        inbox: Inbox,
        publish: Publish,
        refusal: Callable[[Command], str | None],
    ) -> None:
        self._killers = frozenset(rule.id for rule in plan.rules if rule.killer)
        self._topics = Topics(plan.station)
        self._guard = guard
        self._teller = teller
        self._inbox = inbox
        self._publish = publish
        self._refusal = refusal
        self._orders = Acceptance(teller.run, Order)
        self._said: bool | None = None
        self.refusals = Refusals()

    def look(self) -> None:
        """Say it, once, when the broker does not guard commands, or does again."""
        is_guarded = self._guard.is_guarded
        if is_guarded is None or is_guarded is self._said:
            return
        self._said = is_guarded
        detail = "" if is_guarded else "the broker lets anybody write commands: they stay off"
        self._inbox.fact(FactName.COMMANDS_UNGUARDED, not is_guarded, "broker", detail)
        if not is_guarded:
            _LOG.warning("%s", detail)

    def take(self, received: Received, snapshot: Snapshot, now_ns: int) -> None:
        """Take a command, unless it does not count; say to its sender what came of it."""
        user = self._topics.sender(received.topic)
        if user == NOBODY or received.topic != self._topics.command(user):
            return
        if self._guard.is_guarded is not True:
            self.refusals.note("a command", user, "the broker is not known to guard commands")
            return
        order = self._orders.take(
            user, received.payload, retained=received.retained, beat=self._teller.beat
        )
        if isinstance(order, Refusal):
            self.refusals.note("a command", user, order)
            return
        why = self._do(user, order, snapshot, now_ns)
        outcome = why or "done"
        _LOG.warning("command %s from %.32r: %s", order.verb.value, user, outcome)
        reply = encode(Reply(order.count, not why, why))
        self._publish(self._topics.reply(user), reply, qos=1, expiry_s=REPLY_EXPIRY_S)

    def _do(self, user: str, order: Order, snapshot: Snapshot, now_ns: int) -> str:
        """Hand a command to the core; return why not, or nothing."""
        if order.verb not in ALLOWED:
            return f"{order.verb.value} cannot be asked for from afar"
        if order.verb in _ENDING and self._is_deadly(snapshot):
            return "an alarm that can kill is the wearer's alone to end"
        pause_ns = LONGEST_PAUSE_NS if order.verb is Verb.PAUSE_SOUND else 0
        command = Command(now_ns, order.verb, By.REMOTE, order.shown, pause_ns, source=user)
        why = self._refusal(command)
        if why is None:
            self._inbox.wish(command)
        return why or ""

    def _is_deadly(self, snapshot: Snapshot) -> bool:
        alarms = snapshot.alarms
        return any(view.rule in self._killers and view.state in _ACTIVE for view in alarms)
