"""While the broker is away: what was not told, and for how long."""

from collections.abc import Callable


class Absence:
    """Notices that the broker is back, and keeps what is owed by then.

    Args:
        is_connected: Whether the broker has accepted the connection.

    Attributes:
        missed: Plain lines that were not told since it went.
        owed: Contacts whose call or release was not told.
    """

    def __init__(self, is_connected: Callable[[], bool]) -> None:
        self._is_connected = is_connected
        self._since_ns: int | None = None
        self._was_there = False
        self.missed = 0
        self.owed: list[str] = []

    def hides(self, contact: str | None = None) -> bool:
        """Say whether a line would wait for nobody knows how long; it is noted as owed."""
        if self._is_connected():
            return False
        self.missed += 1
        if contact is not None and contact not in self.owed:
            self.owed.append(contact)
        return True

    def ended(self, now_ns: int) -> int | None:
        """Return how long the broker was away (ns), once, when it is back; else None.

        The time before it is there for the first time counts only if something was missed.
        """
        if not self._is_connected():
            if self._since_ns is None:
                self._since_ns = now_ns
            return None
        since_ns, self._since_ns = self._since_ns, None
        counts = self._was_there or self.missed > 0
        self._was_there = True
        if self.missed and since_ns is None:
            return 0  # gone and back between two looks
        return now_ns - since_ns if counts and since_ns is not None else None

    def settle(self) -> tuple[list[str], int]:
        """Return contacts owed a line, and how many lines were missed; count from anew."""
        settled = self.owed, self.missed
        self.owed, self.missed = [], 0
        return settled
