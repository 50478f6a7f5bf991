"""What the core is told. Every input is recorded, and replay feeds the same ones back.

`arrived_ns` is the Watch's own time, stamped by the loop; a device's own clock
stands in another field and never orders anything.
"""

from enum import StrEnum

import msgspec

from linetender.core.signals import Signal


class Quality(StrEnum):
    """How far a reading may be trusted."""

    GOOD = "good"
    DEGRADED = "degraded"
    BAD = "bad"


class Reading(
    msgspec.Struct, frozen=True, gc=False, tag_field="is", tag="reading", omit_defaults=True
):
    """One value of one signal, or the reason why there is none.

    Attributes:
        arrived_ns: When the loop received it.
        signal: The quantity; its unit is in its name.
        value: A finite number, or None.
        reason: Why there is no number (a word of the driver's), or None.
        doubt: Why a number that is there may not be relied on. Such a reading may
            raise an alarm and never clears one.
        source: Name of the device in the station file.
        device_time: The device's own clock (s), where it has one.

    Build one with `reading()`, or check a decoded one with `fault_of()`: the
    constructor of a msgspec struct checks nothing.
    """

    arrived_ns: int
    signal: Signal
    value: float | None = None
    reason: str | None = None
    doubt: str | None = None
    source: str = ""
    device_time: float | None = None

    @property
    def quality(self) -> Quality:
        """Derived, so that a bad reading cannot carry a number."""
        if self.value is None:
            return Quality.BAD
        return Quality.GOOD if self.doubt is None else Quality.DEGRADED


class ContactState(StrEnum):
    """A switch as the driver sees it after debouncing."""

    OPEN = "open"
    CLOSED = "closed"
    BROKEN = "broken"
    """Both or neither wire of a change-over switch is closed: the wiring is at fault."""


class Contact(
    msgspec.Struct, frozen=True, gc=False, tag_field="is", tag="contact", omit_defaults=True
):
    """A switch changed, or said again what it is (drivers repeat it about once a second).

    Attributes:
        arrived_ns: When the loop received it.
        contact: Its role in the station file: answer, hook, fan_mains, co_alarm, …
        state: Closed means pressed, on the hook, or mains present.
        source: Name of the device, or of the second box whose button it is.
    """

    arrived_ns: int
    contact: str
    state: ContactState
    source: str = ""


class Fact(msgspec.Struct, frozen=True, gc=False, tag_field="is", tag="fact", omit_defaults=True):
    """Something the runtime knows about the station itself: a driver failed, the disk is full.

    Attributes:
        arrived_ns: When the loop received it.
        fact: What it is about, e.g. `device_failed`, `far_end_confirmed`.
        active: Whether it holds now. Facts are repeated while they hold.
        subject: Which device, box or disk.
        detail: For people; decides nothing.
    """

    arrived_ns: int
    fact: str
    active: bool
    subject: str = ""
    detail: str = ""


class Verb(StrEnum):
    """What a person can ask of the core."""

    ACKNOWLEDGE = "acknowledge"
    PAUSE_SOUND = "pause_sound"
    RESET = "reset"
    PRE_USE = "pre_use"
    START = "start"
    END = "end"
    OUT = "out"
    SERVICE = "service"
    HELP = "help"


class By(StrEnum):
    """Who acts. Only the wearer's answer quiets a killer at the station."""

    WEARER = "wearer"
    ATTENDANT = "attendant"
    REMOTE = "remote"


class Command(
    msgspec.Struct, frozen=True, gc=False, tag_field="is", tag="command", omit_defaults=True
):
    """A person's wish, from the local socket, the script of a scenario or the broker.

    Attributes:
        arrived_ns: When the loop received it.
        verb: What is wanted.
        by: Who wants it.
        shown: The highest alarm transition number that the sender had seen.
            An acknowledgement answers nothing newer.
        duration_ns: For `pause_sound`; at most 120 s count.
        rule: For `reset`: one rule, or empty for all.
        source: Name of the sender, for the record.
        step: For `pre_use`: a step that is overridden.
        reason: Why it is.
    """

    arrived_ns: int
    verb: Verb
    by: By = By.ATTENDANT
    shown: int = 0
    duration_ns: int = 0
    rule: str = ""
    source: str = ""
    step: str = ""
    reason: str = ""


Input = Reading | Contact | Fact | Command


def reading(
    arrived_ns: int,
    signal: Signal,
    value: float | None = None,
    reason: str | None = None,
    *,
    doubt: str | None = None,
    source: str = "",
    device_time: float | None = None,
) -> Reading:
    """Make a reading; the one place where measured numbers enter the core.

    A value that is not finite becomes a bad reading with reason `not_finite`; a
    device time that is not finite is dropped.

    Raises:
        ValueError: value and reason are both given or both missing.
    """
    if value is not None and not _is_finite(value):
        value, reason, doubt = None, "not_finite", None
    if device_time is not None and not _is_finite(device_time):
        device_time = None
    made = Reading(arrived_ns, signal, value, reason, doubt, source, device_time)
    fault = fault_of(made)
    if fault:
        raise ValueError(fault)
    return made


def fault_of(made: Reading) -> str | None:
    """Say what is wrong with a decoded reading, or None.

    Decoders do not check this by themselves, and JSON written by msgspec turns
    nan into null: a line with neither value nor reason is how such a loss shows.
    """
    if made.value is None:
        if made.reason is None:
            return f"{made.signal}: a reading needs a value or the reason why there is none"
        if made.doubt is not None:
            return f"{made.signal}: a reading without a value cannot be doubted"
    elif made.reason is not None:
        return f"{made.signal}: a reading with a value cannot also have a reason for having none"
    return None


def _is_finite(value: float) -> bool:
    return value - value == 0.0
