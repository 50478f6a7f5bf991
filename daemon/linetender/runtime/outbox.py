"""Events to the broker by way of the disk: none is lost to a crash, or to an hour without it.

Two threads of its own: one stores, one sends. What is handed over returns at once;
sounders and lamps have been driven by then.
"""

import logging
import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from threading import Condition, Thread, current_thread
from typing import NamedTuple, Protocol

import msgspec

from linetender.annunciation.payloads import (
    LATE_NS,
    EventMessage,
    LostEvents,
    encode,
    event_message,
)
from linetender.core.carryover import Carryover
from linetender.core.events import AlarmChanged, Event
from linetender.core.instants import SECOND_NS, to_seconds
from linetender.core.plan import AirPlan
from linetender.core.stages import Priority
from linetender.memory.outbox import Change, Superseded, Waiting, store_changes, waiting_in
from linetender.memory.store import MemoryFault, Store, open_store
from linetender.runtime.boot import UNKNOWN_BOOT
from linetender.runtime.carryover_file import KeptState
from linetender.runtime.clock import WallClock
from linetender.runtime.delivery import CAPACITY, Delivery
from linetender.runtime.permission import NOT_AUTHORISED
from linetender.runtime.telling import EVENT_EXPIRY_S

_LOG = logging.getLogger(__name__)

HANGS_AFTER_NS = 15 * SECOND_NS
"""A disk that takes longer for one transaction is told as failing, and tried by another thread."""

STUCK_AT_MOST = 4
"""Threads that may hang on a dead disk (chosen): one more would hang as well."""

_LOOK_S = 0.2
_REST_S = 5.0
"""How often the sender looks while events wait; how long a failing disk is left alone."""


class Transport(Protocol):
    """The link to the broker, as far as events need it."""

    def __call__(
        self,
        topic: str,
        payload: bytes,
        *,
        qos: int = 0,
        retain: bool = False,
        expiry_s: int | None = None,
        answered: Callable[[int], None] | None = None,
    ) -> None:
        """Hand over a message; returns at once."""


class _Turn(NamedTuple):
    """What a storing thread has in hand, and since when."""

    since_ns: int
    changes: list[Change]
    newest: KeptState | None


class Outbox:
    """The outbox of one run of a station; it also keeps the core's state.

    Args:
        folder: The station's state folder.
        topic: Where events are published.
        run: Id of this run.
        boot: Hashed boot id of the machine.
        publish: The link.
        is_connected: Whether the broker has accepted the connection.
        wall: The time of day.
        air: How the station's air is derived.
        now_ns: The machine's monotonic clock.
        state_ns: By which the state's age is told; a simulated machine has its own.
        capacity: How many events may wait.

    Raises:
        MemoryFault: the memory cannot be used.
    """

    def __init__(
        self,
        folder: Path,
        topic: str,
        run: str,
        boot: str,
        publish: Transport,
        is_connected: Callable[[], bool],
        wall: WallClock,
        *,
        air: AirPlan | None = None,
        now_ns: Callable[[], int] = time.monotonic_ns,
        state_ns: Callable[[], int] | None = None,
        capacity: int = CAPACITY,
    ) -> None:
        self._folder = folder
        self._topic = topic
        self._run = run
        self._boot = boot
        self._publish = publish
        self._is_connected = is_connected
        self._wall = wall
        self._air = air
        self._now_ns = now_ns
        self._state_ns = state_ns or now_ns
        with open_store(folder) as store:
            self._delivery = Delivery(waiting_in(store), capacity)
        self._store: Store | None = None
        self._newest: KeptState | None = None
        self._fault = ""
        self._turn: _Turn | None = None
        self._changed = Condition()
        self._closing = False
        self._storer = self._new_storer()
        self._sender = Thread(target=self._send_for_ever, name="outbox-send", daemon=True)
        self._stuck: list[Thread] = []

    def start(self) -> None:
        """Start the threads."""
        self._storer.start()
        self._sender.start()

    def _new_storer(self) -> Thread:
        return Thread(target=self._store_for_ever, name="outbox-store", daemon=True)

    @property
    def fault(self) -> str:
        """Why nothing is stored, for people; empty while all is well."""
        return self._fault

    def renew_if_stuck(self) -> None:
        """Give a storing thread that hangs a successor; call it now and then.

        What it had in hand is stored by the successor; when it comes back it stores nothing
        any more. A disk that stays dead gets a few of them, not one every 15 s.
        """
        turn, now_ns = self._turn, self._now_ns()
        if turn is None or now_ns - turn.since_ns < HANGS_AFTER_NS:
            return
        self._fault = f"{self._folder}: the disk does not answer; events are not kept"
        with self._changed:
            self._stuck = [thread for thread in self._stuck if thread.is_alive()]
            if self._turn is not turn or len(self._stuck) == STUCK_AT_MOST or self._closing:
                return
            self._turn = self._store = None
            self._take_back(turn)
            self._stuck.append(self._storer)
            self._storer = self._new_storer()
        self._storer.start()

    @property
    def refusal(self) -> str:
        """Why the broker takes no events, for people; empty while it does."""
        reason = self._delivery.refusal
        if reason is None or reason == NOT_AUTHORISED:  # that is a Fact of its own
            return ""
        return f"the broker refuses this station's events (reason {reason}): see its log"

    @property
    def waiting(self) -> int:
        """How many events wait."""
        return len(self._delivery)

    def keep(self, carryover: Carryover, events: tuple[Event, ...] = (), told_ns: int = 0) -> None:
        """Hand over the core's state with the events that led to it; returns at once.

        Args:
            carryover: The state.
            events: What the core said.
            told_ns: Watch time now.
        """
        now_ns = self._now_ns()
        at = self._wall().at
        rows = [
            self._row(event, at, now_ns - (told_ns - event.due_ns))
            for event in events
            if isinstance(event, AlarmChanged)
        ]
        with self._changed:
            # Together, so that no transaction holds the one without the other.
            state_ns = self._state_ns()
            self._newest = KeptState(self._boot, state_ns, carryover, self._air, time.time())
            for row in rows:
                self._delivery.put(row, now_ns)
            self._changed.notify_all()

    def close(self, within_s: float = 2.0) -> None:
        """Store what waits and stop, `within_s` at most; what was not sent waits for the next."""
        with self._changed:
            self._closing = True
            self._changed.notify_all()
        for thread in (self._storer, self._sender):
            if thread.is_alive():
                thread.join(within_s)

    # One turn of each thread, for tests as well.

    def store_turn(self) -> bool:
        """Store what is new in one transaction; say whether there was anything."""
        with self._changed:
            changes = self._delivery.take_changes()
            newest, self._newest = self._newest, None
            if not changes and newest is None:
                return False
            turn = self._turn = _Turn(self._now_ns(), changes, newest)
        try:
            store = self._store or open_store(self._folder)
            if self._turn is turn:
                self._store = store
            state = None if newest is None else msgspec.json.encode(newest)
            store_changes(store, changes, state, lambda: self._turn is turn)
        except Superseded:
            store.close()
            return False
        except (MemoryFault, OSError) as error:
            with self._changed:
                if self._turn is turn:
                    self._turn = None
                    self._take_back(turn)
                    self._fault = str(error)
            return False
        with self._changed:
            if self._turn is turn:
                self._turn = None
                self._fault = ""
                self._delivery.stored(changes)
                self._changed.notify_all()
        return True

    def _take_back(self, turn: "_Turn") -> None:
        """Let another turn store what this one could not; the lock is held."""
        self._delivery.not_stored(turn.changes)
        self._newest = self._newest or turn.newest

    def send_turn(self) -> bool:
        """Send the next event if it may go now; say whether one was sent."""
        if not self._is_connected():
            return False
        now_ns = self._now_ns()
        with self._changed:
            row = self._delivery.next(now_ns)
        if row is None:
            return False
        seq = row.seq
        self._publish(
            self._topic,
            self._payload(row, now_ns),
            qos=1,
            expiry_s=EVENT_EXPIRY_S,
            answered=lambda reason: self._answered(seq, reason),
        )
        return True

    def close_store(self) -> None:
        """Close the file; on the thread that stored."""
        if self._store is not None:
            self._store.close()
            self._store = None

    # Rows

    def _row(self, event: AlarmChanged, at: str, at_ns: int) -> Waiting:
        message = event_message(self._run, event, at, event.due_ns)
        high = event.priority is Priority.HIGH
        content = encode(message).decode()
        return Waiting(0, message.id, at, self._boot, at_ns, high, 0, content)

    def _payload(self, row: Waiting, now_ns: int) -> bytes:
        late_s = self._late_s(row, now_ns)
        if row.lost:
            return encode(LostEvents(row.id, row.lost, row.at, late_s))
        message = msgspec.json.decode(row.content, type=EventMessage)
        return encode(msgspec.structs.replace(message, late_s=late_s))

    def _late_s(self, row: Waiting, now_ns: int) -> float | None:
        """Return how late an event is told (s), where that is worth telling.

        After a power-down only the time of day can say, which may be wrong: then it is
        late by 5 s at the least.
        """
        if row.boot == self._boot != UNKNOWN_BOOT:
            late_ns = now_ns - row.at_ns
            return round(to_seconds(late_ns), 1) if late_ns > LATE_NS else None
        passed = datetime.fromisoformat(self._wall().at) - datetime.fromisoformat(row.at)
        return round(max(to_seconds(LATE_NS), passed.total_seconds()), 1)

    def _answered(self, seq: int, reason: int) -> None:
        with self._changed:
            self._delivery.answered(seq, reason, self._now_ns())
            self._changed.notify_all()

    # Threads

    def _store_for_ever(self) -> None:
        while current_thread() is self._storer:
            if self.store_turn():
                continue
            with self._changed:
                if current_thread() is not self._storer:
                    return
                if self._closing:
                    break
                self._changed.wait(_REST_S)
        if current_thread() is self._storer:
            self.close_store()

    def _send_for_ever(self) -> None:
        while not self._closing:
            if self.send_turn():
                continue
            with self._changed:
                if not self._closing:
                    self._changed.wait(_LOOK_S if len(self._delivery) else None)
