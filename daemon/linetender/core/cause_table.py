"""How each cause of bad air looks, as one literal table.

Rules for editing this file:

1. The first row that fits is named; the rows that fit after it are named as also possible,
   but for what a name before them holds already (`HELD` in `cause.py`).
2. A row with signs comes before the rows that go by the pressure's pattern alone.
3. No row names a fault of the oximeter: bad air is never called that.
4. No row goes by `UNSEEN` alone: of a fall that nobody saw, only other parts tell the cause.
5. A level in percent of the baseline (%) gives way to what was taught on the line, where
   a row says which state was.

Which pattern each fault draws was tried on the simulated line (`tests/benchmarks/detection`);
the limits are chosen between the patterns.
"""

from enum import Enum
from math import inf
from typing import NamedTuple

from linetender.core.cause import Cause
from linetender.core.plan import Arrangement


class Pace(Enum):
    """How the air went to where it is."""

    SUDDEN = "sudden"
    """Within two seconds, and it stays there."""
    COASTING = "coasting"
    """In seconds, as a fan runs down."""
    SETTLED = "settled"
    """In seconds, and it stays well above nothing."""
    SLOW = "slow"
    """Never more than an eighth of it within two seconds."""
    RISING = "rising"
    """More than there was."""
    STEADY = "steady"
    """As it was."""
    UNSEEN = "unseen"
    """Fallen while nobody watched: after a restart, or a gap in the readings."""


class Sign(Enum):
    """What other sources say."""

    MAINS_OPEN = "mains_open"
    SPEED_GONE = "speed_gone"
    """Speed or current of the fan are under a fifth of what is usual."""
    SPEED_LOW = "speed_low"
    """The fan's speed is 7 % or more under what is usual."""
    SPEED_KEPT = "speed_kept"
    """The fan's speed is within 3 % of what is usual, or over it."""
    FILTER_KEPT = "filter_kept"
    """The filter still has over half of its usual pressure: air passes it."""
    FILTER_RISEN = "filter_risen"
    """The filter resists 20 % more than usual."""
    BREATH = "breath"
    """After the fall the wearer's breath still moves the pressure: the line is closed."""

    # As an object: that of an enum's member takes several times as long.
    __hash__ = object.__hash__


class TaughtState(Enum):
    """A state of the line whose level `calibrate --teach` measured."""

    PINCHED = "pinched"
    DUCT_OFF = "duct_off"


class Row(NamedTuple):
    """One way in which a cause looks.

    Attributes:
        cause: The cause.
        paces: How the air went; empty for any.
        confidence: 0 to 1 (chosen).
        low, high: Within these levels (% of the baseline), the upper one left out.
        signs: All of them must show.
        side: Only in this arrangement; None for both.
        taught: Where this state was taught, the level must be near its instead.
    """

    cause: Cause
    paces: tuple[Pace, ...]
    confidence: float
    low: float = 0.0
    high: float = inf
    signs: tuple[Sign, ...] = ()
    side: Arrangement | None = None
    taught: TaughtState | None = None


FAN, WEARER = Arrangement.FAN_SIDE, Arrangement.WEARER_SIDE
_GRADUAL = (Pace.SLOW, Pace.SETTLED)

TABLE: tuple[Row, ...] = (
    # What a contact, the fan or the filter says.
    Row(Cause.MAINS_LOST, (), 0.98, signs=(Sign.MAINS_OPEN,)),
    Row(Cause.FAN_STOPPED, (), 0.95, signs=(Sign.SPEED_GONE,)),
    Row(Cause.TAP_TUBE_OFF, (Pace.SUDDEN,), 0.9, 0.0, 4.0, (Sign.FILTER_KEPT,)),
    Row(Cause.FAN_SLOW, _GRADUAL, 0.9, signs=(Sign.SPEED_LOW,)),
    Row(Cause.FILTER_LOADED, _GRADUAL, 0.9, signs=(Sign.FILTER_RISEN,)),
    Row(Cause.FILTER_LOADED, (Pace.SLOW,), 0.75, signs=(Sign.SPEED_KEPT,)),
    # More than there was.
    Row(Cause.DUCT_OFF_DOWNSTREAM, (Pace.RISING,), 0.85, side=FAN),
    Row(Cause.HOSE_KINKED, (Pace.RISING,), 0.85, side=WEARER),
    # At once, to nothing.
    Row(Cause.LINE_BLOCKED, (Pace.SUDDEN,), 0.8, 0.0, 12.0, (Sign.BREATH,), WEARER),
    Row(Cause.DUCT_OR_TAP_TUBE_OFF, (Pace.SUDDEN,), 0.8, 0.0, 12.0, side=WEARER),
    Row(Cause.SHUT_OR_TAP_TUBE_OFF, (Pace.SUDDEN,), 0.8, 0.0, 4.0, side=FAN),
    # At once, to less.
    Row(
        Cause.DUCT_OFF_DOWNSTREAM,
        (Pace.SUDDEN,),
        0.7,
        inf,
        side=FAN,
        taught=TaughtState.DUCT_OFF,
    ),
    Row(
        Cause.DUCT_OFF_UPSTREAM,
        (Pace.SUDDEN,),
        0.7,
        inf,
        side=WEARER,
        taught=TaughtState.DUCT_OFF,
    ),
    Row(Cause.LINE_BLOCKED, (Pace.SUDDEN,), 0.9, inf, taught=TaughtState.PINCHED),
    Row(Cause.LINE_BLOCKED, (Pace.SUDDEN,), 0.8, 4.0),
    # In seconds.
    Row(Cause.FAN_STOPPED, (Pace.COASTING,), 0.8),
    Row(Cause.LINE_BLOCKED, (Pace.SETTLED,), 0.5, 25.0),
    # In minutes.
    Row(Cause.FILTER_OR_FAN_SLOW, (Pace.SLOW,), 0.7),
)

NEAR_PERCENT = 6.0
"""A level is that of a taught state within so many percent of the baseline (chosen)."""
