"""One output played in patterns: which edge comes next, and when.

Pure: the caller has the clock and the pin. It asks `next_edge`, waits for that
instant, calls `take`, and drives the pin to the level returned.
"""

from linetender.annunciation.patterns import Edge, Pattern
from linetender.core.instants import NEVER_NS


class PatternPlayer:
    """Plays the pattern that is wanted, and what is owed besides.

    A phrase that has begun is completed, unless a pattern of higher rank takes over,
    which it does at once. What is owed is sounded though nobody wants it any more.
    Each interval counts from the edge before as it was really taken: a late caller
    makes a pulse longer, and never swallows one.
    """

    def __init__(self) -> None:
        self._wanted: Pattern | None = None
        self._owed: Pattern | None = None
        self._playing: Pattern | None = None
        self._on = False
        self._pulse = 0
        self._within_phrase = False
        self._due_ns = 0
        self._break_off_ns: int | None = None
        self._last_off_ns = -NEVER_NS
        self._last_rank = 0

    def play(self, wanted: Pattern | None, now_ns: int, *, owed: Pattern | None = None) -> None:
        """Ask for a pattern from now on, or for none.

        Args:
            wanted: Repeated until something else is asked for.
            now_ns: The instant.
            owed: Of this pattern at least one phrase will begin after now, or one of
                a pattern of higher rank.
        """
        self._wanted = wanted
        self._owed = _higher(self._owed, owed)
        self._settle(now_ns)

    def next_edge(self) -> Edge | None:
        """Return the next edge with its instant, or None when nothing will change by itself."""
        if self._break_off_ns is not None:
            return Edge(self._break_off_ns, False)
        if self._playing is None or (self._on and not self._playing.lengths_ns):
            return None
        return Edge(self._due_ns, not self._on)

    def take(self, now_ns: int) -> bool:
        """Pass the next edge if it is due, and return the level to drive (True: on)."""
        edge = self.next_edge()
        if edge is None or edge.due_ns > now_ns:
            return self._on
        self._on = edge.on
        if not edge.on:
            self._last_off_ns = now_ns
        if self._break_off_ns is not None:
            self._break_off_ns = None
            if self._playing is not None:
                self._due_ns = now_ns + self._silence_before(self._playing)
        elif self._playing is not None and self._playing.lengths_ns:
            self._pass_edge(self._playing, now_ns)
        elif self._playing is not None:
            self._begin_phrase(self._playing)
        return self._on

    def _pass_edge(self, pattern: Pattern, now_ns: int) -> None:
        if self._on:
            if self._pulse % pattern.phrase == 0:
                self._begin_phrase(pattern)
                self._within_phrase = True
            self._due_ns = now_ns + pattern.lengths_ns[self._pulse]
            return
        self._due_ns = now_ns + pattern.gaps_ns[self._pulse]
        self._pulse = (self._pulse + 1) % len(pattern.lengths_ns)
        if self._pulse % pattern.phrase == 0:
            self._within_phrase = False
            self._settle(now_ns)

    def _begin_phrase(self, pattern: Pattern) -> None:
        self._last_rank = pattern.rank
        if self._owed is not None and self._owed.rank <= pattern.rank:
            self._owed = None

    def _settle(self, now_ns: int) -> None:
        """Go over to what should be played now, where that is allowed."""
        target, playing = _higher(self._wanted, self._owed), self._playing
        if target is playing:
            return
        takes_over = target is not None and (playing is None or target.rank > playing.rank)
        if self._within_phrase and not takes_over:
            return
        self._playing = target
        self._pulse = 0
        self._within_phrase = False
        if self._on:
            self._break_off_ns = now_ns
        elif target is not None:
            self._due_ns = max(now_ns, self._last_off_ns + self._silence_before(target))

    def _silence_before(self, pattern: Pattern) -> int:
        return pattern.spacing_ns if pattern.rank > self._last_rank else pattern.rest_ns


def _higher(one: Pattern | None, other: Pattern | None) -> Pattern | None:
    if one is None or other is None:
        return one or other
    return other if other.rank > one.rank else one
