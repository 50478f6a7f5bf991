"""What a sounder and the lamps do with a cue: what is put to the wearer besides alarms.

Not of the standard, as no cue is an alarm: chirps are shorter than any pulse of one. All
figures are chosen; the test sound alone is the first half of HIGH, as that is what must
be heard through the hood.
"""

from functools import cache

from linetender.annunciation.patterns import LAMP_PATTERNS, SOUND_PATTERNS, Pattern
from linetender.core.events import Cue, Demand, Sound
from linetender.core.instants import MILLISECOND_NS
from linetender.core.stages import Priority

CHIRP_MS = 60
BETWEEN_CHIRPS_MS = 240
BLINK_MS = 300
BETWEEN_BLINKS_MS = 300
BETWEEN_NUMBERS_MS = 1200
AFTER_CODE_MS = 3000
ONCE_MS = 60_000
"""Silence after a cue that is put once: longer than any is put."""

_CHIRPS = {Cue.HOOD: 2, Cue.REMINDS: 3, Cue.READY: 4}
_RANK = 1


def sound_of(demand: Demand) -> Pattern | None:
    """Return what a sounder plays for the cue of a demand, or None."""
    return _sound(demand.cue, demand.code)


def blink_of(demand: Demand) -> Pattern | None:
    """Return how the green and the yellow lamp blink for the cue of a demand, or None."""
    return _blink(demand.cue, demand.code)


def flash_of(demand: Demand, priority: Priority) -> Pattern | None:
    """Return the flashes by which a lamp shows at the start of the check that it works."""
    return LAMP_PATTERNS[priority] if demand.cue is Cue.LAMPS else None


@cache
def _sound(cue: Cue, code: tuple[int, ...]) -> Pattern | None:
    if cue is Cue.CODE:
        return _counted(code, CHIRP_MS, BETWEEN_CHIRPS_MS)
    if cue is Cue.TEST:
        high = SOUND_PATTERNS[Sound.HIGH]
        half = high.phrase
        gaps_ns = (*high.gaps_ns[: half - 1], ONCE_MS * MILLISECOND_NS)
        return Pattern(_RANK, high.lengths_ns[:half], gaps_ns, half, high.spacing_ns, 0)
    if cue in _CHIRPS:
        return _counted((_CHIRPS[cue],), CHIRP_MS, BETWEEN_CHIRPS_MS, ONCE_MS)
    return None


@cache
def _blink(cue: Cue, code: tuple[int, ...]) -> Pattern | None:
    if cue is Cue.CODE:
        return _counted(code, BLINK_MS, BETWEEN_BLINKS_MS)
    if cue in (Cue.ASKS, Cue.LAMPS):
        return _counted((1,), 120, 120, 120)
    return None


def _counted(
    numbers: tuple[int, ...], pulse_ms: int, gap_ms: int, last_ms: int = AFTER_CODE_MS
) -> Pattern:
    """Return so many pulses, a pause, so many, and a longer pause."""
    gaps_ms: list[int] = []
    for count in numbers:
        gaps_ms += [gap_ms] * (count - 1) + [BETWEEN_NUMBERS_MS]
    gaps_ms[-1] = last_ms
    lengths_ns = (pulse_ms * MILLISECOND_NS,) * len(gaps_ms)
    gaps_ns = tuple(each * MILLISECOND_NS for each in gaps_ms)
    return Pattern(_RANK, lengths_ns, gaps_ns, len(gaps_ms), gap_ms * MILLISECOND_NS, 0)
