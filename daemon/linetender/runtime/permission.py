"""What the broker's access list refuses: found by its answers, told as a Fact."""

from collections.abc import Callable, Container

from linetender.core.instants import SECOND_NS

NOT_AUTHORISED = 135
"""MQTT 5, 3.4.2.1: the reason code of a publish that the broker's list refuses."""

AGAIN_EVERY_NS = 30 * SECOND_NS
"""How often what is refused is tried again: the list may have been mended (chosen)."""


class Permission:
    """Which topics a station may not write. Told of answers on the link's thread.

    Args:
        expected: Topics that should be refused.
    """

    def __init__(self, expected: Container[str] = ()) -> None:
        self._expected = expected
        self._refused: dict[str, None] = {}
        self._tried_ns: int | None = None

    def answered(self, topic: str, reason: int) -> None:
        """Take the broker's answer to a publish."""
        if reason == NOT_AUTHORISED and topic not in self._expected:
            self._refused[topic] = None
        elif 0 <= reason < 0x80:
            self._refused.pop(topic, None)

    @property
    def fault(self) -> str:
        """What is refused, for people; empty while all may be written."""
        topic = next(iter(tuple(self._refused)), None)
        return "" if topic is None else f"the broker's access list refuses {topic}"

    def try_again(self, now_ns: int, say_again: Callable[[], None]) -> None:
        """Let what is kept at the broker be written again now and then while it is refused."""
        if not self._refused:
            self._tried_ns = None
        elif self._tried_ns is None:
            self._tried_ns = now_ns
        elif now_ns - self._tried_ns >= AGAIN_EVERY_NS:
            self._tried_ns = now_ns
            say_again()
