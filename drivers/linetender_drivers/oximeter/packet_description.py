"""How an oximeter with its maker's own packets is described in a TOML file.

Bits are counted in a frame: byte 0 is its first. Every bit that a condition or a field
uses may be used once; a description in which two claim the same bit is refused, for one
of them is wrong.
"""

from collections import Counter
from enum import StrEnum
from typing import Annotated, Self

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

LONGEST_FRAME = 512
"""Octets: the longest attribute value that Bluetooth has.

Source: Bluetooth Core Specification, Vol 3, Part F, 3.2.9."""

UUID_PATTERN = r"^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$"

ByteAt = Annotated[int, Field(ge=0, lt=LONGEST_FRAME)]
Octet = Annotated[int, Field(ge=0, le=0xFF)]
Mask = Annotated[int, Field(ge=1, le=0xFF)]
Uuid = Annotated[str, Field(pattern=UUID_PATTERN)]


class _Table(BaseModel):
    model_config = ConfigDict(
        extra="forbid", frozen=True, strict=True, allow_inf_nan=False, validate_default=True
    )


class Bits(_Table):
    """Some bits of one byte, compared with what they must be.

    Attributes:
        byte: Which byte.
        mask: Which of its bits.
        value: What they are; may not lie outside the mask.
    """

    byte: ByteAt
    mask: Mask
    value: Octet

    @model_validator(mode="after")
    def _value_is_in_the_mask(self) -> Self:
        if self.value & ~self.mask:
            raise ValueError(
                f"value {self.value:#04x} has bits outside mask {self.mask:#04x}, so it "
                "could never be met; take them out"
            )
        return self

    def are_in(self, frame: bytes | bytearray) -> bool:
        """Whether a frame that is long enough has these bits."""
        return frame[self.byte] & self.mask == self.value


class Part(_Table):
    """Some bits of one byte that are part of a number.

    Attributes:
        byte: Which byte.
        mask: Which of its bits.
        shift: How far they move up in the number; negative, down.
    """

    byte: ByteAt
    mask: Mask = 0xFF
    shift: Annotated[int, Field(ge=-7, le=24)] = 0

    @model_validator(mode="after")
    def _no_bit_is_lost(self) -> Self:
        if self.shift < 0 and self.mask & ((1 << -self.shift) - 1):
            raise ValueError(
                f"shift {self.shift} loses bits of mask {self.mask:#04x}; leave them out of it"
            )
        return self

    def of(self, octet: int) -> int:
        """Return this part of a number from its byte."""
        taken = octet & self.mask
        return taken << self.shift if self.shift >= 0 else taken >> -self.shift


class Number(_Table):
    """A number in a frame: parts joined, times scale, plus offset.

    Attributes:
        parts: Where its bits are.
        scale: Units of the signal for one step.
        offset: Units of the signal at 0.
        invalid: Joined numbers, before scale and offset, that mean "no value".
    """

    parts: Annotated[list[Part], Field(min_length=1, max_length=4)]
    scale: Annotated[float, Field(gt=0, le=1000)] = 1.0
    offset: Annotated[float, Field(ge=-1000, le=1000)] = 0.0
    invalid: list[Annotated[int, Field(ge=0)]] = Field(default_factory=list)

    @model_validator(mode="after")
    def _parts_do_not_overlap(self) -> Self:
        joined = 0
        for part in self.parts:
            bits = part.of(part.mask)
            if joined & bits:
                raise ValueError("two parts move to the same bits of the number; change a shift")
            joined |= bits
        beyond = [each for each in self.invalid if each & ~joined]
        if beyond:
            raise ValueError(f"invalid {beyond} can never be sent by these parts")
        return self

    def joined(self, frame: bytes) -> int:
        """Return the number before scale and offset."""
        return sum(part.of(frame[part.byte]) for part in self.parts)


class HeaderLength(_Table):
    """Where a frame says how long it is.

    Attributes:
        byte: Which byte.
        mask: Which of its bits.
        add: Octets that it does not count, as sync, itself or the checksum.
        at_most: A frame that says it is longer is none.
    """

    byte: ByteAt
    mask: Mask = 0xFF
    add: Annotated[int, Field(ge=0, lt=LONGEST_FRAME)]
    at_most: Annotated[int, Field(ge=2, le=LONGEST_FRAME)] = 64


class ChecksumKind(StrEnum):
    """How the checksum, the last octet of a frame, is made from those before it."""

    NONE = "none"
    SUM8 = "sum8"
    XOR8 = "xor8"
    CRC8 = "crc8"


class Checksum(_Table):
    """The checksum in the last octet.

    Attributes:
        kind: How it is made.
        first: First byte that it covers; it covers all up to itself.
        poly: Polynomial of a CRC-8, without its highest term.
        init: Where a CRC-8 begins.
    """

    kind: Annotated[ChecksumKind, Field(strict=False)] = ChecksumKind.NONE
    first: ByteAt = 0
    poly: Mask | None = None
    init: Octet | None = None

    @model_validator(mode="after")
    def _only_a_crc_has_a_polynomial(self) -> Self:
        is_crc = self.kind is ChecksumKind.CRC8
        if is_crc != (self.poly is not None) or is_crc != (self.init is not None):
            raise ValueError("poly and init belong to crc8: give both with it, none without")
        return self


class Frame(_Table):
    """How frames are cut from what comes.

    Attributes:
        length: Octets of every frame, or where it is said.
        sync: What a frame begins with; frames are then cut from the joined
            notifications. Without it, each notification is one frame.
        carries: What a frame that carries the fields also has; others are left out.
        checksum: The last octet.
    """

    length: Annotated[int, Field(ge=1, le=LONGEST_FRAME)] | HeaderLength
    sync: list[Bits] = Field(default_factory=list)
    carries: list[Bits] = Field(default_factory=list)
    checksum: Checksum = Field(default_factory=Checksum)


class Start(_Table):
    """What has to be written before the oximeter sends.

    Attributes:
        characteristic: Where to.
        octets: What, as text: `"c9 35"`.
    """

    characteristic: Uuid
    octets: Annotated[str, Field(pattern=r"^[0-9a-f]{2}( ?[0-9a-f]{2}){0,19}$")]

    @property
    def value(self) -> bytes:
        """The octets."""
        return bytes.fromhex(self.octets)


class Fields(_Table):
    """Where the numbers stand; what an oximeter does not send is left out."""

    spo2_percent: Number
    pulse_rate_bpm: Number | None = None
    pulse_amplitude_index_percent: Number | None = None
    oximeter_battery_percent: Number | None = None

    def numbers(self) -> dict[str, Number]:
        """Return those that are sent, by signal."""
        return {name: number for name, number in self if number is not None}


class Flags(_Table):
    """What the oximeter says of its measurement.

    Attributes:
        finger_out: The finger is out: the numbers are old or none.
        low_signal: The numbers are doubtful.
    """

    finger_out: Bits | None = None
    low_signal: Bits | None = None


class PacketDescription(_Table):
    """One maker's packets.

    Attributes:
        name: For people.
        service: 128-bit UUID, lower case.
        characteristic: The one that sends.
    """

    name: Annotated[str, Field(min_length=1, max_length=80)]
    service: Uuid
    characteristic: Uuid
    start: Start | None = None
    frame: Frame
    fields: Fields
    flags: Flags = Field(default_factory=Flags)

    @field_validator("service", "characteristic")
    @classmethod
    def _is_no_standard_service(cls, uuid: str) -> str:
        if uuid.startswith(("00001822-", "00002a5f-", "00002a5e-")):
            raise ValueError("that is the standard service: use the driver plx_oximeter")
        return uuid

    @model_validator(mode="after")
    def _holds_together(self) -> Self:
        if self.flags.finger_out is None and not self.fields.spo2_percent.invalid:
            raise ValueError(
                "nothing says that the finger is out: give flags.finger_out, or "
                "fields.spo2_percent.invalid; without them an old value would look new"
            )
        claims = _claims(self)
        for (byte, bit), count in Counter(place for _, place in claims).items():
            if count > 1:
                who = sorted({name for name, place in claims if place == (byte, bit)})
                raise ValueError(f"bit {bit} of byte {byte} is claimed by {' and '.join(who)}")
        last = max(byte for _, (byte, _) in claims)
        longest = self.frame.length
        if isinstance(longest, HeaderLength):
            longest = longest.at_most
        room = longest - (self.frame.checksum.kind is not ChecksumKind.NONE)
        if last >= room:
            raise ValueError(
                f"byte {last} is used, and a frame has room for bytes 0 to {room - 1} "
                "(the checksum is the last octet)"
            )
        return self

    def claimed(self) -> dict[int, int]:
        """Return the bits that are described, as a mask for each byte, the checksum left out."""
        masks: dict[int, int] = {}
        for _, (byte, bit) in _claims(self):
            masks[byte] = masks.get(byte, 0) | 1 << bit
        return masks


def _claims(description: PacketDescription) -> list[tuple[str, tuple[int, int]]]:
    """Return who uses which bit of which byte."""
    frame, flags = description.frame, description.flags
    used: list[tuple[str, int, int]] = []
    if isinstance(frame.length, HeaderLength):
        used.append(("frame.length", frame.length.byte, frame.length.mask))
    used += [("frame.sync", bits.byte, bits.mask) for bits in frame.sync]
    used += [("frame.carries", bits.byte, bits.mask) for bits in frame.carries]
    for name, bits in flags:
        if bits is not None:
            used.append((f"flags.{name}", bits.byte, bits.mask))
    for name, number in description.fields.numbers().items():
        used += [(f"fields.{name}", part.byte, part.mask) for part in number.parts]
    return [(name, (byte, bit)) for name, byte, mask in used for bit in range(8) if mask & 1 << bit]
