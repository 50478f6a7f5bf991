"""Names of the MQTT topics of one station."""

from dataclasses import dataclass

ONLINE = b"online"
OFFLINE = b"offline"
"""The two payloads of the topic `online`; the second is also the last will."""


NOBODY = "_self"
"""A name that no user may have."""


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

    @property
    def selftest(self) -> str:
        """What the station says to itself, to see whether its broker passes it on."""
        return self._under("selftest")

    @property
    def any_alarm(self) -> str:
        """Filter: the alarms of all rules."""
        return f"{self._under('alarm')}/+"

    @property
    def any_confirm(self) -> str:
        """Filter: the confirmations of all second boxes."""
        return f"{self._under('far')}/+/confirm"

    @property
    def any_press(self) -> str:
        """Filter: the presses at all second boxes."""
        return f"{self._under('far')}/+/press"

    @property
    def any_command(self) -> str:
        """Filter: commands of all users."""
        return f"{self._under('command')}/+"

    @property
    def forbidden_command(self) -> str:
        """A command in nobody's name: a broker that lets the station write it has no list."""
        return self._under("command", NOBODY)

    def far_online(self, box: str) -> str:
        """Retained: whether a second box is connected; also its last will."""
        return self._under("far", box, "online")

    def confirm(self, box: str) -> str:
        """What a second box says it has heard and sounds."""
        return self._under("far", box, "confirm")

    @property
    def any_forward(self) -> str:
        """Filter: the readings of all second boxes."""
        return f"{self._under('forward')}/+"

    def forward(self, box: str) -> str:
        """Readings of a second box."""
        return self._under("forward", box)

    def forward_online(self, box: str) -> str:
        """Retained: whether a second box forwards; also that link's last will."""
        return self._under("far", box, "forwarding")

    def press(self, box: str) -> str:
        """A press of the button of a second box."""
        return self._under("far", box, "press")

    def command(self, user: str) -> str:
        """A command in a user's name."""
        return self._under("command", user)

    def reply(self, user: str) -> str:
        """What came of a user's command."""
        return self._under("reply", user)

    def sender(self, topic: str) -> str:
        """Return who sent on `far/BOX/…`, `forward/BOX` or `command/USER`: the topic says it.

        Empty where it says nobody, or what no topic of a message may hold: a broker may lie.
        """
        level = (*topic.split("/"), "", "", "", "")[3]
        return "" if _has_meaning(level) else level

    def _under(self, *levels: str) -> str:
        for level in levels:
            _check(level)
        return "/".join(("linetender", self.station, *levels))


def _has_meaning(level: str) -> bool:
    return any(character in level for character in "/+#\0")


def _check(level: str) -> None:
    if not level or _has_meaning(level):
        raise ValueError(
            f"{level!r} cannot be part of a topic: it should be a name without '/', '+' and '#'"
        )
