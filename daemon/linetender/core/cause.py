"""What can have happened, as the core names it; the words for people stand in annunciation."""

from enum import StrEnum


class Cause(StrEnum):
    """A likely cause of an alarm. Where two look the same to the sensors, one name holds both."""

    MAINS_LOST = "mains_lost"
    FAN_STOPPED = "fan_stopped"
    FAN_SLOW = "fan_slow"
    """The fan turns more slowly than it did: a brown-out."""
    LINE_BLOCKED = "line_blocked"
    """The line is kinked or crushed between fan and tap, or anywhere behind a fan-side element."""
    HOSE_KINKED = "hose_kinked"
    """The hose is kinked beyond the tap: more pressure there, and less air."""
    DUCT_OFF_DOWNSTREAM = "duct_off_downstream"
    """The duct is off behind a fan-side element: more flow there, and none at the hood."""
    DUCT_OFF_UPSTREAM = "duct_off_upstream"
    """The duct is off before the element."""
    DUCT_OR_TAP_TUBE_OFF = "duct_or_tap_tube_off"
    """At the hood's end both read zero at once."""
    SHUT_OR_TAP_TUBE_OFF = "shut_or_tap_tube_off"
    """Beside the fan a line shut, or off before the element, reads as a tube that is off."""
    TAP_TUBE_OFF = "tap_tube_off"
    FILTER_LOADED = "filter_loaded"
    """The filter is loading, soaked or frosted."""
    FILTER_OR_FAN_SLOW = "filter_or_fan_slow"
    """Air falls slowly; one pressure alone does not tell a filter from a fan."""
    HOSE_OFF_HOOD = "hose_off_hood"
    """Air passes the sensor and does not reach the hood."""
    SENSOR_FROZEN = "sensor_frozen"
    SENSOR_SILENT = "sensor_silent"
    OXIMETER_OFF_FINGER = "oximeter_off_finger"
    OXIMETER_OUT_OF_RANGE = "oximeter_out_of_range"
    OXIMETER_WEAK_PULSE = "oximeter_weak_pulse"
    """A cold or moving finger: it answers, and is not sure."""
    WEARER_DETERIORATING = "wearer_deteriorating"
    """Oxygen falls while air flows: the air itself, or the wearer. The gravest."""
    NOT_CLEAR = "not_clear"


HELD: dict[Cause, tuple[Cause, ...]] = {
    Cause.DUCT_OR_TAP_TUBE_OFF: (Cause.DUCT_OFF_UPSTREAM, Cause.TAP_TUBE_OFF),
    Cause.SHUT_OR_TAP_TUBE_OFF: (
        Cause.LINE_BLOCKED,
        Cause.DUCT_OFF_UPSTREAM,
        Cause.TAP_TUBE_OFF,
    ),
    Cause.FILTER_OR_FAN_SLOW: (Cause.FILTER_LOADED, Cause.FAN_SLOW),
}
"""The causes that are one name for several, and which they hold."""


def tells_again(cause: Cause, told: list[Cause]) -> bool:
    """Return whether a cause is among those told already, or one of them and it hold the other."""
    return any(
        cause is one or cause in HELD.get(one, ()) or one in HELD.get(cause, ()) for one in told
    )
