"""How the link to a broker stands."""

from dataclasses import dataclass

from linetender.core.instants import to_seconds
from linetender.runtime.control_messages import BrokerView


@dataclass(frozen=True)
class LinkState:
    """How the link stands.

    Attributes:
        connected: Whether the broker has accepted the connection.
        connects: Number of times that it did.
        waiting: Messages that wait to be sent.
        unconfirmed: Messages sent and not yet confirmed.
        confirmed: Publishes that the broker confirmed.
        last_confirmed_ns: When it last did (time of the link's clock), or None.
        refused: Publishes that it refused, most likely by its access list.
        dropped: Messages given up because too many waited.
        expired: Messages given up because they had waited too long to be told as new.
        faults: Errors inside this link; each is in the log.
        refusal: The last reason that the broker gave for refusing anything, or empty.
        untold: Retained messages among those that wait or are not confirmed.
        renewals: How often a sending thread that hung got a successor.
        progress_ns: When the sending thread last made a turn, or None.
    """

    connected: bool
    connects: int
    waiting: int
    unconfirmed: int
    confirmed: int
    last_confirmed_ns: int | None
    refused: int
    dropped: int
    expired: int
    faults: int
    refusal: str
    untold: int
    renewals: int
    progress_ns: int | None

    def view(self, now_ns: int) -> BrokerView:
        """Return it for people, at a time of the link's clock."""
        last_ns = self.last_confirmed_ns
        ago_s = None if last_ns is None else to_seconds(now_ns - last_ns)
        return BrokerView(self.connected, self.waiting + self.unconfirmed, ago_s)
