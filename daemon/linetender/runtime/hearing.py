"""All that a station hears from its broker, led to who understands it."""

import asyncio
from collections.abc import Callable
from contextlib import aclosing

from linetender.annunciation.topics import Topics
from linetender.core.inputs import Command
from linetender.core.snapshot import Snapshot
from linetender.runtime.announcer import Announcer
from linetender.runtime.clock import StationClock
from linetender.runtime.far_ends import FarEnds
from linetender.runtime.forwards import Forwards
from linetender.runtime.inbox import Inbox
from linetender.runtime.incoming import Incoming, Received
from linetender.runtime.loop_back import LoopBack
from linetender.runtime.remote_commands import CommandGuard, RemoteCommands
from linetender.runtime.telling import Teller
from linetender.settings.station import Station


class Hearing:
    """One run's ear.

    Args:
        station: The station.
        teller: Knows the run and its heartbeat.
        inbox: Where the core's inputs go.
        forwards: Takes readings of second boxes.
        clock: Watch time.
    """

    def __init__(
        self,
        station: Station,
        teller: Teller,
        inbox: Inbox,
        forwards: Forwards,
        clock: StationClock,
    ) -> None:
        self._plan = plan = station.plan
        self._prefix = station.broker.discovery_prefix if station.broker else None
        self._teller = teller
        self._inbox = inbox
        self._forwards = forwards
        self._clock = clock
        self._topics = Topics(plan.station)
        self._far_ends = FarEnds(plan, teller, inbox)
        self._loop_back = LoopBack(self._topics.selftest, teller, inbox, clock.now_ns())
        self._commands: RemoteCommands | None = None
        self._announcer: Announcer | None = None

    def take_commands(self, guard: CommandGuard, refusal: Callable[[Command], str | None]) -> None:
        """Take commands too, once the broker is known to guard them."""
        self._commands = RemoteCommands(
            self._plan, guard, self._teller, self._inbox, self._teller.publish, refusal
        )
        guard.try_it(self._teller.publish)

    async def run(
        self,
        incoming: Incoming,
        snapshot: Callable[[], Snapshot],
        connected: Callable[[], bool] | None,
    ) -> None:
        """Hear for ever.

        Args:
            incoming: What comes from the broker.
            snapshot: The station now.
            connected: Whether the broker has accepted the connection, where that is known.
        """
        if self._prefix is not None:
            signals = tuple(view.signal for view in snapshot().signals)
            self._announcer = Announcer(self._plan, signals, self._prefix, self._teller.publish)
        looking = asyncio.ensure_future(self._look_for_ever(connected))
        try:
            async with aclosing(incoming.each()) as messages:
                async for received in messages:
                    self._take(received, snapshot)
        finally:
            looking.cancel()

    async def _look_for_ever(self, connected: Callable[[], bool] | None) -> None:
        while True:
            if self._commands is not None:
                self._commands.look()
            if connected is not None:
                self._loop_back.look(self._clock.now_ns(), connected=connected())
            await self._clock.sleep(1)

    def _take(self, received: Received, snapshot: Callable[[], Snapshot]) -> None:
        topic = received.topic
        if topic == self._topics.selftest:
            if not received.retained:
                self._loop_back.hear(received.payload, self._clock.now_ns())
        elif self._forwards.take(received) or (
            self._announcer is not None and self._announcer.take(received)
        ):
            return
        elif self._commands is not None and topic == self._topics.command(
            self._topics.sender(topic) or "-"
        ):
            self._commands.take(received, snapshot(), self._clock.now_ns())
        else:
            self._far_ends.take(received, snapshot())
