"""The facts that a station can know of itself, in one place.

The runtime reports them, rules look for them, and the lint refuses a rule that looks
for any other: it would wait for ever.
"""

from enum import StrEnum


class FactName(StrEnum):
    """What a `Fact` is about."""

    DEVICE_FAILED = "device_failed"
    """A device does not answer; the subject is its name."""
    STORAGE_FAILED = "storage_failed"
    """Nothing can be recorded."""
    CLOCK_UNSYNCHRONISED = "clock_unsynchronised"
    """The time of day is not known; alarms do not need it."""
    BROKER_LOST = "broker_lost"
    """There is no connection to the broker."""
    FAR_END_CONFIRMED = "far_end_confirmed"
    """A second box confirms that it hears the station; the subject is its name."""
    FAR_END_PRESSED = "far_end_pressed"
    """Somebody pressed the button of an attendant's box; the subject is its name."""
    COMMANDS_UNGUARDED = "commands_unguarded"
    """The broker lets anybody write commands, so that they are left off."""
    NOT_CHECKED = "not_checked"
    """Air has run for long and nobody has started the check; the core itself says so."""
