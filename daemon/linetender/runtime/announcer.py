"""Announces the station to home automation, and again when that has started anew."""

from linetender.annunciation.discovery import (
    announcement,
    components_of,
    config_topic,
    status_topic,
)
from linetender.core.plan import Plan
from linetender.core.signals import Signal
from linetender.runtime.incoming import Received, Wanted
from linetender.runtime.telling import Publish


def wanted_by_announcer(prefix: str, station: str) -> tuple[Wanted, ...]:
    """Return what is subscribed to: the hub's start, and what was announced before."""
    return (
        Wanted(status_topic(prefix), kept=True),
        Wanted(config_topic(prefix, station), kept=True),
    )


class Announcer:
    """Keeps the announcement right.

    A part that an earlier announcement had, and the station has no more, is sent once with
    its platform alone, which removes it; when that has come back from the broker, the
    announcement is sent without it.

    Args:
        plan: The station.
        signals: What it measures or derives.
        prefix: `[broker] discovery_prefix`.
        publish: Where messages go.
    """

    def __init__(
        self, plan: Plan, signals: tuple[Signal, ...], prefix: str, publish: Publish
    ) -> None:
        self._plan = plan
        self._signals = signals
        self._config = config_topic(prefix, plan.station)
        self._status = status_topic(prefix)
        self._publish = publish
        self._own = frozenset(components_of(announcement(plan, signals, {})))
        self._announce({})

    def take(self, received: Received) -> bool:
        """Take a message; say whether it was for the announcer."""
        if received.topic == self._status:
            if received.payload == b"online":
                self._announce({})
            return True
        if received.topic != self._config:
            return False
        stale = {
            name: component
            for name, component in components_of(received.payload).items()
            if name not in self._own
        }
        unremoved = {
            name: str(component.get("p", "sensor"))
            for name, component in stale.items()
            if set(component) != {"p"}
        }
        if stale:
            self._announce(unremoved)
        return True

    def _announce(self, removed: dict[str, str]) -> None:
        message = announcement(self._plan, self._signals, removed)
        self._publish(self._config, message, qos=1, retain=True)
