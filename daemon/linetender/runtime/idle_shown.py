"""That a use has ended is shown only once the far ends can know it.

Whoever reads "idle" may switch the station off, and a second box that did not hear of the
end would take the silence for a fault.
"""

import asyncio
from collections.abc import Callable, Sequence

from linetender.core.events import Event, StageChanged
from linetender.core.instants import SECOND_NS
from linetender.core.snapshot import Snapshot
from linetender.core.stages import Stage
from linetender.runtime.clock import StationClock

AT_MOST_NS = 2 * SECOND_NS
"""A broker that confirms nothing for so long is not waited for."""

_LOOK_S = 0.05

Listener = Callable[[tuple[Event, ...], Snapshot], None]


class IdleShown:
    """A listener of the live station that passes on to others, the end of a use later.

    Args:
        listeners: Who shows: terminal, local socket.
        is_told: Whether all that the broker is to keep has been confirmed, or it is away.
        clock: Watch time.
    """

    def __init__(
        self, listeners: Sequence[Listener], is_told: Callable[[], bool], clock: StationClock
    ) -> None:
        self._listeners = listeners
        self._is_told = is_told
        self._clock = clock
        self._held: list[tuple[tuple[Event, ...], Snapshot]] = []
        self._until_ns = 0

    def tell(self, events: tuple[Event, ...], snapshot: Snapshot) -> None:
        """Pass on, unless it is the end of a use, or comes after one that is held."""
        if not self._held and not (_ends(events) and not self._is_told()):
            self._pass_on(events, snapshot)
            return
        if not self._held:
            self._until_ns = self._clock.now_ns() + AT_MOST_NS
        self._held.append((events, snapshot))
        self.look()

    def look(self) -> None:
        """Show what is held if it is time; called once a second at least, by `tell`."""
        if self._held and (self._is_told() or self._clock.now_ns() >= self._until_ns):
            held, self._held = self._held, []
            for events, snapshot in held:
                self._pass_on(events, snapshot)

    async def until_shown(self, snapshot: Callable[[], Snapshot]) -> None:
        """Return once an end that somebody asked for has been told, or could not be."""
        due_ns = self._clock.now_ns() + AT_MOST_NS
        while self._clock.now_ns() < due_ns:
            if snapshot().stage is Stage.IDLE and self._is_told():
                break
            await asyncio.sleep(_LOOK_S)
        self.look()

    def _pass_on(self, events: tuple[Event, ...], snapshot: Snapshot) -> None:
        for listener in self._listeners:
            listener(events, snapshot)


def _ends(events: tuple[Event, ...]) -> bool:
    return any(isinstance(event, StageChanged) and event.after is Stage.IDLE for event in events)
