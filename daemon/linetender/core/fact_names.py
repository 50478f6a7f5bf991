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
    ALARM_TESTED = "alarm_tested"
    """Somebody let sounders and lamps play every pattern once."""
    DELIVERY_CONFIRMED = "delivery_confirmed"
    """What the station told came back to it from the broker."""
    DELIVERY_REFUSED = "delivery_refused"
    """The broker's access list refuses what the station tells."""
    FAR_END_CONFIRMED = "far_end_confirmed"
    """A second box confirms that it hears the station; the subject is its name."""
    FAR_END_PRESSED = "far_end_pressed"
    """Somebody pressed the button of an attendant's box; the subject is its name."""
    COMMANDS_UNGUARDED = "commands_unguarded"
    """The broker lets anybody write commands, so that they are left off."""
    NOT_CHECKED = "not_checked"
    """Air has run for long and nobody has started the check; the core itself says so."""
    PRE_USE_STEP = "pre_use_step"
    """What only the runtime can see of a step of the pre-use check; the subject is the step."""
    HEARD_TEST = "heard_test"
    """The test sound of the pre-use check is due now: the instant was drawn at random."""
    PROOF_STEP = "proof_step"
    """A step of the proof test goes on; the subject is the step. It marks the recording."""
    RESUMED = "resumed"
    """The station was blind while the hood was worn; the core itself says so."""
    POWER_CUT_UNANSWERED = "power_cut_unanswered"
    """After a power cut nobody says whether the hood was on; the core itself says so."""
