"""What a second box sends of its own sensors: the shape of a packet of readings."""

from typing import Annotated

import msgspec

from linetender.annunciation.far_payloads import Id, Number

READINGS = 8
"""Readings in one packet at most, so that it stays within what is taken from afar."""

SignalName = Annotated[str, msgspec.Meta(pattern=r"^[a-z][a-z0-9_]{0,47}(?![\s\S])")]
Word = Annotated[str, msgspec.Meta(pattern=r"^[a-z][a-z0-9_]{0,23}(?![\s\S])")]


class ForwardedReading(msgspec.Struct, frozen=True, omit_defaults=True):
    """One reading.

    Attributes:
        signal: The quantity, with its unit in its name.
        value: In that unit; or None.
        reason: Why there is no value; exactly one of value and reason is given.
        doubt: Why a value that is there may not be relied on.
    """

    signal: SignalName
    value: float | None = None
    reason: Word | None = None
    doubt: Word | None = None

    def __post_init__(self) -> None:
        """Refuse what is neither a value nor a reason, or both."""
        if (self.value is None) == (self.reason is None):
            raise ValueError("expected exactly one of value and reason")


class ForwardPacket(msgspec.Struct, frozen=True, rename={"sender": "from"}):
    """What the sensors of a second box said within one period.

    Attributes:
        run: The run of the station that the box hears.
        heard: Number of the last heartbeat that it received.
        sender: Drawn at the start of the forwarder; `from` in JSON.
        count: Rises with each packet since then.
        readings: The newest of each signal.
        v: Version of the shape.
    """

    run: Id
    heard: Number
    sender: Id
    count: Number
    readings: Annotated[
        tuple[ForwardedReading, ...], msgspec.Meta(min_length=1, max_length=READINGS)
    ]
    v: int = 1


def encode_packet(packet: ForwardPacket) -> bytes:
    """Return a packet as JSON in UTF-8."""
    return msgspec.json.encode(packet)
