"""What the station says to itself over the broker: whether that passes messages on.

A broker may confirm a publish and give it to nobody. Nothing else would show it where no
second box confirms.
"""

from linetender.core.fact_names import FactName
from linetender.core.instants import SECOND_NS
from linetender.runtime.inbox import Inbox
from linetender.runtime.telling import Teller

EVERY_NS = 10 * SECOND_NS
LOST_AFTER_NS = 30 * SECOND_NS
"""Nothing came back for so long while connected (chosen: three attempts)."""

EXPIRY_S = 5


class LoopBack:
    """Sends a word to itself, and notices when it does not come back.

    Args:
        topic: Where.
        teller: Knows the run, and publishes.
        inbox: Told of a change.
        now_ns: The instant.
    """

    def __init__(self, topic: str, teller: Teller, inbox: Inbox, now_ns: int) -> None:
        self._topic = topic
        self._teller = teller
        self._inbox = inbox
        self._sent_ns = now_ns - EVERY_NS
        self._back_ns = now_ns
        self._lost = False

    def hear(self, payload: bytes, now_ns: int) -> None:
        """Take what came back; words of others or of an earlier run count for nothing."""
        if payload.startswith(self._teller.run.encode()):
            self._back_ns = now_ns
            self._inbox.note(FactName.DELIVERY_CONFIRMED, "broker")

    def look(self, now_ns: int, *, connected: bool) -> None:
        """Send when it is due, and judge; call it about once a second."""
        if not connected:
            self._back_ns = now_ns  # that is told by other means
        elif now_ns - self._sent_ns >= EVERY_NS:
            self._sent_ns = now_ns
            nonce = f"{self._teller.run}-{self._teller.beat}".encode()
            self._teller.publish(self._topic, nonce, qos=1, expiry_s=EXPIRY_S)
        lost = now_ns - self._back_ns >= LOST_AFTER_NS
        if lost is not self._lost:
            self._lost = lost
            why = "what the station tells does not come back from the broker" if lost else ""
            self._inbox.fact(FactName.BROKER_LOST, lost, "selftest", why)
