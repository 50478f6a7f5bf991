"""Names of the MQTT topics of one station."""

from dataclasses import dataclass

ONLINE = b"online"
OFFLINE = b"offline"
"""The two payloads of the topic `online`; the second is also the last will."""


@dataclass(frozen=True)
class Topics:
    """All topics are under `linetender/<station>/`.

    Attributes:
        station: Id of the station: one level of a topic.

    Raises:
        ValueError: a name is empty or holds a character that a topic gives a meaning.
    """

    station: str

    def __post_init__(self) -> None:
        _check(self.station)

    @property
    def online(self) -> str:
        """Retained: `online`, or `offline` after a stop or as the last will."""
        return self._under("online")

    @property
    def alive(self) -> str:
        """The heartbeat, once a second."""
        return self._under("alive")

    @property
    def state(self) -> str:
        """Retained: the whole station at a glance."""
        return self._under("state")

    @property
    def event(self) -> str:
        """One message for each transition of an alarm."""
        return self._under("event")

    @property
    def say(self) -> str:
        """One plain line for people for each transition of an alarm."""
        return self._under("say")

    def alarm(self, rule: str) -> str:
        """Retained: the alarm of one rule."""
        return self._under("alarm", rule)

    def contact(self, name: str) -> str:
        """Plain lines for one contact of the station."""
        return self._under("contact", name)

    def _under(self, *levels: str) -> str:
        for level in levels:
            _check(level)
        return "/".join(("linetender", self.station, *levels))


def _check(level: str) -> None:
    if not level or any(character in level for character in "/+#\0"):
        raise ValueError(
            f"{level!r} cannot be part of a topic: it should be a name without '/', '+' and '#'"
        )
