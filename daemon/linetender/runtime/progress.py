"""Who moves on as promised: what keep-alive and watchdog are fed by.

Each part of the chain from sensor to sounder says, at each turn, by when it will
have completed the next. A promise that is broken stops the keep-alive. Network,
radio and disk take no part: none of them may restart the daemon.
"""

MARGIN_NS = 2_000_000_000
"""Added to each promise (chosen: a busy small computer may be late by this much)."""


class Progress:
    """The promises in force."""

    def __init__(self) -> None:
        self._due_ns: dict[str, int] = {}

    def promise(self, who: str, due_ns: int) -> None:
        """Say that a part has completed a turn, and will complete the next by `due_ns`."""
        self._due_ns[who] = due_ns + MARGIN_NS

    def stalled(self, now_ns: int) -> tuple[str, ...]:
        """Return the parts that broke their promise."""
        return tuple(who for who, due_ns in self._due_ns.items() if due_ns < now_ns)
