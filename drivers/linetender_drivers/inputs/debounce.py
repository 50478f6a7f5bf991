"""Debouncing of a switch: from raw levels at given instants to a state that can be trusted.

Pure: it is told the time (monotonic ns) and the levels, and says when it wants to be
asked again.
"""

from enum import StrEnum

SETTLE_NS = 20_000_000
"""A level counts once it has been stable this long (chosen: most push buttons stop
bouncing within 10 ms, and a person does not notice 20 ms)."""

BROKEN_AFTER_NS = 500_000_000
"""A switch without a valid level for longer than this is broken (chosen: a change-over
contact passes through "neither" in milliseconds, a slow thumb in tenths of a second)."""


class SwitchState(StrEnum):
    """What a switch is; the words that a `ContactChange` carries."""

    OPEN = "open"
    CLOSED = "closed"
    BROKEN = "broken"


def change_over_state(no_closed: bool, nc_closed: bool) -> SwitchState | None:
    """Judge the two contacts of a change-over switch: closed means pressed.

    Args:
        no_closed: The normally open contact is closed.
        nc_closed: The normally closed contact is closed.

    Returns:
        The state, or None where both or neither are closed: on the way, or broken.
    """
    if no_closed == nc_closed:
        return None
    return SwitchState.CLOSED if no_closed else SwitchState.OPEN


class Debounce:
    """The debounced state of one switch.

    Attributes:
        state: What the switch is now; None until first known.
    """

    def __init__(self) -> None:
        self.state: SwitchState | None = None
        self._raw: SwitchState | None = None
        self._raw_since_ns = 0
        self._unsettled_since_ns: int | None = None

    def look(self, now_ns: int, raw: SwitchState | None) -> SwitchState | None:
        """Take in what the lines say now.

        A level seen at two looks is taken to have stood in between: whoever calls
        looks at every edge.

        Args:
            now_ns: Monotonic time; never earlier than at the last look.
            raw: Open or closed, or None for an impossible combination.

        Returns:
            The new state if it changed, else None.
        """
        if self._unsettled_since_ns is None or raw is not self._raw:
            self._note(now_ns, raw)
        return self._judge(now_ns)

    def next_look_ns(self) -> int | None:
        """Return when time alone would change the state; None if never."""
        if self._unsettled_since_ns is None:
            return None
        deadlines = []
        if self._raw is not None:
            deadlines.append(self._raw_since_ns + SETTLE_NS)
        if self.state is not SwitchState.BROKEN:
            deadlines.append(self._unsettled_since_ns + self._patience_ns() + 1)
        return min(deadlines, default=None)

    def _note(self, now_ns: int, raw: SwitchState | None) -> None:
        if self._unsettled_since_ns is None:
            if raw is self.state and raw is not None:
                return
            self._unsettled_since_ns = now_ns
        self._raw = raw
        self._raw_since_ns = now_ns

    def _judge(self, now_ns: int) -> SwitchState | None:
        if self._unsettled_since_ns is None:
            return None
        if self._raw is not None and now_ns - self._raw_since_ns >= SETTLE_NS:
            self._unsettled_since_ns = None
            return self._become(self._raw)
        if now_ns - self._unsettled_since_ns > self._patience_ns():
            return self._become(SwitchState.BROKEN)
        return None

    def _patience_ns(self) -> int:
        # A valid level reached in time is granted the time to settle.
        return BROKEN_AFTER_NS + (0 if self._raw is None else SETTLE_NS)

    def _become(self, state: SwitchState) -> SwitchState | None:
        if state is self.state:
            return None
        self.state = state
        return state
