"""The stages of use of a station."""

from enum import StrEnum


class Stage(StrEnum):
    """Where the person is in their day."""

    IDLE = "idle"
    PRE_USE = "pre_use"
    WORN = "worn"
    SERVICE = "service"


class Priority(StrEnum):
    """Priority of an alarm with the meaning of IEC 60601-1-8 Table 1; HIGH tells a wearer LEAVE."""

    LOW = "low"
    MEDIUM = "medium"
    HIGH = "high"


PRIORITY_RANK = {Priority.LOW: 1, Priority.MEDIUM: 2, Priority.HIGH: 3}
