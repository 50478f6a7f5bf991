"""The life of an alarm: the states of ISA-18.2 as one literal, total table.

Rules for editing this file:

1. Only `AFTER` changes a state. No `if` elsewhere may do so.
2. The table is total: every state has a row, every row every event. A pair that
   cannot happen keeps its state.
3. Where the next state depends on whether the condition is present, that is part
   of the event's name, so that state × event alone decides.
4. `tests/core/test_alarm_table.py` states the invariants, and the diagram in
   `daemon/linetender/core/README.md` is made from this literal.

Source: ANSI/ISA-18.2-2016 and IEC 62682 (letters A to I as in their state
diagram, from memory); latching and shelving as modelled in OPC UA Part 9.
"""

from enum import StrEnum


class AlarmState(StrEnum):
    """The nine states; the letter is the standard's."""

    NORMAL = "normal"  # A
    UNACKNOWLEDGED = "unacknowledged"  # B
    ACKNOWLEDGED = "acknowledged"  # C
    RETURNED = "returned_unacknowledged"  # D
    LATCHED = "latched_unacknowledged"  # E
    LATCHED_ACKNOWLEDGED = "latched_acknowledged"  # F
    SHELVED = "shelved"  # G
    SUPPRESSED = "suppressed_by_design"  # H
    OUT_OF_SERVICE = "out_of_service"  # I

    # As text: that of an enum's member takes several times as long.
    __hash__ = str.__hash__


class AlarmEvent(StrEnum):
    """What can happen to an alarm."""

    RAISE = "raise"
    """The condition held through the on-delay."""
    WITHHOLD = "withhold"
    """The same, while another alarm suppresses this one."""
    CLEAR = "clear"
    """The condition was absent through the off-delay; the rule does not latch."""
    CLEAR_LATCHING = "clear_latching"
    """The same for a rule that latches."""
    ACKNOWLEDGE = "acknowledge"
    RESET = "reset"
    """Ends a latched alarm that has been acknowledged."""
    REALARM = "realarm"
    """An answered alarm whose condition stays sounds again."""
    RISE = "rise"
    """The priority rose with time."""
    OUT_PRESENT = "out_present"
    """The wearer is deliberately out while the condition is present."""
    OUT_ABSENT = "out_absent"
    SHELVE = "shelve"
    REMOVE = "remove"
    """Taken out of service for maintenance."""
    RELEASE_PRESENT = "release_present"
    """Shelving, suppression or maintenance ends and the condition is present."""
    RELEASE_ABSENT = "release_absent"


_A = AlarmState.NORMAL
_B = AlarmState.UNACKNOWLEDGED
_C = AlarmState.ACKNOWLEDGED
_D = AlarmState.RETURNED
_E = AlarmState.LATCHED
_F = AlarmState.LATCHED_ACKNOWLEDGED
_G = AlarmState.SHELVED
_H = AlarmState.SUPPRESSED
_I = AlarmState.OUT_OF_SERVICE

# fmt: off
_EVENTS = tuple(AlarmEvent)
_ROWS: dict[AlarmState, tuple[AlarmState, ...]] = {
    #   raise with- clear clear  ack-  reset re-   rise  out   out   shelve re-  release release
    #         hold        latch  nowl.       alarm       pres. abs.        move  present absent
    _A: (_B,  _H,   _A,   _A,    _A,   _A,   _A,   _A,   _A,   _A,   _G,   _I,   _A,     _A),
    _B: (_B,  _B,   _D,   _E,    _C,   _B,   _B,   _B,   _H,   _A,   _G,   _I,   _B,     _B),
    _C: (_C,  _C,   _A,   _F,    _C,   _C,   _B,   _B,   _H,   _A,   _G,   _I,   _C,     _C),
    _D: (_B,  _H,   _D,   _D,    _A,   _A,   _D,   _D,   _H,   _A,   _G,   _I,   _B,     _D),
    _E: (_B,  _B,   _E,   _E,    _F,   _E,   _E,   _E,   _H,   _A,   _G,   _I,   _B,     _E),
    _F: (_B,  _H,   _F,   _F,    _F,   _A,   _F,   _F,   _H,   _A,   _G,   _I,   _B,     _F),
    _G: (_G,  _G,   _G,   _G,    _G,   _G,   _G,   _G,   _G,   _G,   _G,   _I,   _B,     _A),
    _H: (_H,  _H,   _A,   _A,    _H,   _H,   _H,   _H,   _H,   _A,   _H,   _I,   _B,     _A),
    _I: (_I,  _I,   _I,   _I,    _I,   _I,   _I,   _I,   _I,   _I,   _I,   _I,   _B,     _A),
}
# fmt: on

AFTER: dict[AlarmState, dict[AlarmEvent, AlarmState]] = {
    state: dict(zip(_EVENTS, row, strict=True)) for state, row in _ROWS.items()
}
"""`AFTER[state][event]` is the next state."""

SOUNDING = frozenset({AlarmState.UNACKNOWLEDGED, AlarmState.LATCHED})
"""States in which an alarm asks to be heard."""

ACTIVE = frozenset({AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED})
"""States in which the condition is present and the alarm is told."""

RETURNED = frozenset({AlarmState.RETURNED, AlarmState.LATCHED, AlarmState.LATCHED_ACKNOWLEDGED})
"""States in which the condition is gone and the alarm is still told."""

SHOWN = frozenset(AlarmState) - {AlarmState.NORMAL}
"""States that a list of alarms shows."""
