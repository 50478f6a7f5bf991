"""When a sounder sounds and a lamp shines: the patterns, as data.

The windows are those of IEC 60601-1-8:2006 with its amendments of 2012 and 2020,
used as a design reference; nothing here claims conformity. We have not read the
standard itself. Each figure below is marked:

- Q: quoted with its clause number in public engineering notes on the standard;
- M: from memory, in agreement with what component data sheets offer;
- chosen: ours, inside the window.

| priority | lamp (Table 2, Q) | pulses (Table 3, Q) | between bursts (Table 3, Q) |
|---|---|---|---|
| HIGH | red, 1.4-2.8 Hz, 20-60 % on | 10, as 3+2 and 3+2 | 2.5-15 s |
| MEDIUM | yellow, 0.4-0.8 Hz, 20-60 % on | 3 | 2.5-30 s |
| LOW | cyan or yellow, steady | 1 or 2 | over 15 s, or no repeat |

| priority | pulse length (Table 4, M) | spacing (Table 3, M) |
|---|---|---|
| HIGH | 75-200 ms | x = 50-125 ms; after the 3rd and 8th 2x + length; after the 5th 0.35-1.30 s |
| MEDIUM, LOW | 125-250 ms | y = 125-250 ms |

A short condition still completes half a burst of HIGH and a full one of MEDIUM
(6.10, Q); `phrase` says how many pulses belong together for that.
"""

from typing import NamedTuple

from linetender.core.events import Sound
from linetender.core.instants import MILLISECOND_NS
from linetender.core.stages import Priority


class Edge(NamedTuple):
    """An output changes: `due_ns` counts from the start of the pattern, or is an instant."""

    due_ns: int
    on: bool


class Pattern(NamedTuple):
    """Pulses that come back at an interval.

    Attributes:
        rank: A pattern of higher rank breaks off one of lower rank.
        lengths_ns: Length of each pulse of a burst (ns, > 0); empty means steadily on.
        gaps_ns: Silence after each pulse (ns, > 0); the last is the interval between bursts.
        phrase: Number of pulses that are never parted: once the first has begun, the
            last is completed. Divides the number of pulses.
        spacing_ns: Silence before it after breaking off one of lower rank.
        rest_ns: Silence before it after one of the same or of higher rank has ended.
    """

    rank: int
    lengths_ns: tuple[int, ...]
    gaps_ns: tuple[int, ...]
    phrase: int
    spacing_ns: int
    rest_ns: int

    def edges(self) -> tuple[Edge, ...]:
        """Return the edges of one burst, with offsets (ns) from its first one."""
        if not self.lengths_ns:
            return (Edge(0, True),)
        made, at_ns = [], 0
        for length_ns, gap_ns in zip(self.lengths_ns, self.gaps_ns, strict=True):
            made += [Edge(at_ns, True), Edge(at_ns + length_ns, False)]
            at_ns += length_ns + gap_ns
        return tuple(made)

    def repeat_ns(self) -> int | None:
        """Return the interval (ns) from the start of one burst to the next; None when steady."""
        return sum(self.lengths_ns) + sum(self.gaps_ns) or None


def _ms(*milliseconds: int) -> tuple[int, ...]:
    return tuple(value * MILLISECOND_NS for value in milliseconds)


def _pattern(
    rank: int, lengths_ms: tuple[int, ...], gaps_ms: tuple[int, ...], phrase: int, rest_ms: int
) -> Pattern:
    gaps_ns = _ms(*gaps_ms)
    spacing_ns = gaps_ns[0] if len(gaps_ns) > 1 else 0
    return Pattern(rank, _ms(*lengths_ms), gaps_ns, phrase, spacing_ns, rest_ms * MILLISECOND_NS)


# Chosen: long pulses, because an active buzzer needs some 10 ms to start; a short
# interval between bursts, because whoever hears HIGH has to go. No figure lies on
# the border of its window, so that a late edge does not leave it.
_PULSE, _X = 150, 100
_HALF = (_X, _X, 2 * _X + _PULSE, _X)
_BETWEEN_HALVES = 700
_SHORTEST_BETWEEN_BURSTS = 2500

SOUND_PATTERNS: dict[Sound, Pattern] = {
    # One short tick a second. Not of the standard: it is no alarm, so it is shorter
    # than any pulse of one.
    Sound.TICKS: _pattern(1, (40,), (960,), phrase=1, rest_ms=960),
    Sound.LOW: _pattern(2, (200, 200), (200, 20_000), phrase=2, rest_ms=_SHORTEST_BETWEEN_BURSTS),
    Sound.MEDIUM: _pattern(
        3, (200, 200, 200), (200, 200, 7000), phrase=3, rest_ms=_SHORTEST_BETWEEN_BURSTS
    ),
    Sound.HIGH: _pattern(
        4,
        (_PULSE,) * 10,
        (*_HALF, _BETWEEN_HALVES, *_HALF, 3000),
        phrase=5,
        rest_ms=_BETWEEN_HALVES,
    ),
}
"""What a sounder does; `Sound.SILENT` has no pattern."""

FAILURE_PATTERN = _pattern(5, (900,), (300,), phrase=1, rest_ms=300)
"""The sound of the alarm system's own failure: nobody watches, or nothing is heard any more.

Not of the standard, which leaves it free (A.2). Each tone is far longer than any pulse of
an alarm, and they never group into bursts, so that it is told apart through a hood and
over a fan (chosen). It goes on until somebody ends it."""

FAILURE_LOOK_PATTERN = _pattern(
    3, (900, 900), (300, 6000), phrase=2, rest_ms=_SHORTEST_BETWEEN_BURSTS
)
"""The same kind of tone, twice every few seconds: of a second box that has not heard its
station for a moment, before it says LEAVE (chosen)."""

LAMP_PATTERNS: dict[Priority, Pattern] = {
    # Steady (Q).
    Priority.LOW: Pattern(2, (), (), 0, 0, 0),
    # 0.625 Hz and 2 Hz, half of the time on (chosen: the middle of each window).
    Priority.MEDIUM: _pattern(3, (800,), (800,), phrase=1, rest_ms=0),
    Priority.HIGH: _pattern(4, (250,), (250,), phrase=1, rest_ms=0),
}
"""What the lamp of a priority does: red for HIGH, yellow for the others."""
