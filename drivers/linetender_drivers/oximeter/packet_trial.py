"""Tries a packet description on octets that an oximeter really sent. Pure."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

from linetender_drivers.errors import BadFrame
from linetender_drivers.measurements import Measurement
from linetender_drivers.oximeter.byte_changes import ByteChanges, changes_by_length
from linetender_drivers.oximeter.packet_decode import decode_packet
from linetender_drivers.oximeter.packet_description import ChecksumKind, PacketDescription
from linetender_drivers.oximeter.packet_frames import FrameCutter


class HeardFrame(NamedTuple):
    """A frame that was cut from what was heard.

    Attributes:
        t_ms: When its last octet came, ms.
        octets: The frame.
        made: What it says; nothing where it carries something else than the fields.
    """

    t_ms: int
    octets: bytes
    made: tuple[Measurement, ...]


class Misfit(NamedTuple):
    """What does not fit the description.

    Attributes:
        t_ms: When it came, ms.
        what: What is wrong with it, and the octets.
    """

    t_ms: int
    what: str


@dataclass
class Trial:
    """What came of it.

    Attributes:
        frames: In their order.
        misfits: What did not fit.
        octets: How many were heard.
    """

    frames: list[HeardFrame] = field(default_factory=list)
    misfits: list[Misfit] = field(default_factory=list)
    octets: int = 0

    @property
    def left_over(self) -> int:
        """Octets that are part of no frame."""
        return self.octets - sum(len(each.octets) for each in self.frames)

    @property
    def fits(self) -> bool:
        """Whether some frame carried the fields, and nothing failed."""
        return any(each.made for each in self.frames) and not self.misfits

    def changes(self) -> list[ByteChanges]:
        """Return which octets changed in the frames that carry the fields, by length."""
        return changes_by_length([each.octets for each in self.frames if each.made])


def try_description(description: PacketDescription, heard: Iterable[tuple[int, bytes]]) -> Trial:
    """Decode what was heard as the driver would.

    Args:
        description: How frames look.
        heard: Each notification with its time, ms.
    """
    trial = Trial()
    cutter = FrameCutter("the description", description.frame)
    for t_ms, octets in heard:
        trial.octets += len(octets)
        try:
            frames = cutter.feed(octets)
        except BadFrame as error:
            trial.misfits.append(Misfit(t_ms, str(error)))
            continue
        for frame in frames:
            try:
                made = decode_packet("the description", description, frame)
            except BadFrame as error:
                trial.misfits.append(Misfit(t_ms, str(error)))
            else:
                trial.frames.append(HeardFrame(t_ms, frame, made))
    return trial


def changed_unclaimed(description: PacketDescription, changes: ByteChanges) -> list[int]:
    """Return the places where bits changed that the description says nothing of."""
    claimed = description.claimed()
    has_checksum = description.frame.checksum.kind is not ChecksumKind.NONE
    last = len(changes.bits) - has_checksum
    return [
        place for place, bits in enumerate(changes.bits[:last]) if bits & ~claimed.get(place, 0)
    ]
