"""What goes over the socket of a served world: lines of JSON, asked and answered.

A line is at most 64 KiB. Each request has a number that its answer repeats. The manual is
in `daemon/linetender/simulation/README.md`.
"""

from typing import Annotated, Any, Literal

import msgspec

SOCKET_NAME = "world.sock"

LONGEST_LINE = 65_536
"""Bytes of a line, with its end."""

Number = Annotated[int, msgspec.Meta(ge=1, le=2**53)]
Gpio = Annotated[int, msgspec.Meta(ge=0, le=255)]
Word = Annotated[str, msgspec.Meta(max_length=200)]


class Request(
    msgspec.Struct, frozen=True, forbid_unknown_fields=True, omit_defaults=True, tag_field="do"
):
    """Base of all requests.

    Attributes:
        id: Its number, from 1.
    """

    id: Number


# What stations ask


class Hello(Request, tag="hello", frozen=True):
    """The first request of a station: from here on time stands still unless it waits.

    Attributes:
        name: Of the program, for people.
        v: Version of the protocol.
    """

    name: Word
    v: Literal[1] = 1


class Wait(Request, tag="wait", frozen=True):
    """Nothing to do until an instant (ns), or (None) until something comes.

    Answered once: at that instant, after an edge or a late answer that came, or after `Stay`;
    at once where the world has said more lines than `heard`.
    """

    until_ns: Annotated[int, msgspec.Meta(ge=0, le=2**62)] | None = None
    heard: Annotated[int, msgspec.Meta(ge=0, le=2**62)] | None = None


class Stay(Request, tag="stay", frozen=True):
    """Something real came up: the wait, if there still is one, is answered now."""


class Transfer(Request, tag="transfer", frozen=True):
    """Write bytes to a chip on the I2C bus, then read."""

    address: Annotated[int, msgspec.Meta(ge=0, le=127)]
    write: Annotated[bytes, msgspec.Meta(max_length=4096)] = b""
    read_n: Annotated[int, msgspec.Meta(ge=0, le=4096)] = 0


class ClaimInput(Request, tag="claim_input", frozen=True):
    """Claim an input line; answered with its level, and its edges are sent from now on."""

    gpio: Gpio
    pull_up: bool


class ClaimOutput(Request, tag="claim_output", frozen=True):
    """Claim an output line, driven to its safe level first."""

    gpio: Gpio
    safe_high: bool


class Drive(Request, tag="drive", frozen=True):
    """Drive a claimed output."""

    gpio: Gpio
    high: bool


class GiveBack(Request, tag="give_back", frozen=True):
    """Give a claimed line back; an output goes to its safe level."""

    gpio: Gpio


class RadioOpen(Request, tag="radio_open", frozen=True):
    """Connect to the oximeter and subscribe."""


class RadioNext(Request, tag="radio_next", frozen=True):
    """Wait for the oximeter's next notification."""


class RadioValue(Request, tag="radio_value", frozen=True):
    """Read another characteristic of the oximeter; no octets: it has none such."""

    characteristic: Word


class RadioClose(Request, tag="radio_close", frozen=True):
    """Disconnect."""


class Drop(Request, tag="drop", frozen=True):
    """Nobody waits any more for the late answer to the request `late`."""

    late: Number


# What the hands of a script ask


class Press(Request, tag="press", frozen=True):
    """Press a button and let it go; answered when it is up again."""

    contact: Word
    hold_s: Annotated[float, msgspec.Meta(gt=0, le=60)] = 0.3


class Fault(Request, tag="fault", frozen=True):
    """Bring a fault about, or mend it; no name with `clear` mends all."""

    name: Word = ""
    clear: bool = False


class Turn(Request, tag="turn", frozen=True):
    """Turn a knob of the world."""

    knob: Word
    to: float
    over_s: Annotated[float, msgspec.Meta(ge=0, le=86_400)] = 0.0


class Pass(Request, tag="pass", frozen=True):
    """Let time pass; answered afterwards.

    Attributes:
        seconds: So long (s), or less:
        gpio: up to the next change of this output to `high`.
        high: See there.
        stations: Begin only when so many stations are connected.
    """

    seconds: Annotated[float, msgspec.Meta(ge=0, le=604_800)]
    gpio: Gpio | None = None
    high: bool = True
    stations: Annotated[int, msgspec.Meta(ge=0, le=16)] = 0


class Hold(Request, tag="hold", frozen=True):
    """Let time stand still unless a `Press` or `Pass` lasts (`held`), or let it run again."""

    held: bool


class Look(Request, tag="look", frozen=True):
    """Tell how the world is."""


class Stop(Request, tag="stop", frozen=True):
    """End the world."""


StationRequest = (
    Hello
    | Wait
    | Stay
    | Transfer
    | ClaimInput
    | ClaimOutput
    | Drive
    | GiveBack
    | RadioOpen
    | RadioNext
    | RadioValue
    | RadioClose
    | Drop
)
HandRequest = Press | Fault | Turn | Pass | Hold | Look | Stop
AnyRequest = StationRequest | HandRequest


# What the world says


class Answer(msgspec.Struct, frozen=True, omit_defaults=True, tag_field="is", tag="answer"):
    """The answer to a request that was done.

    Attributes:
        id: Of the request.
        now_ns: The world's time.
        octets: What was read, or None.
        high: Level of a claimed input; for `Pass` whether the output came.
        epoch: For `Hello`: time of day at the world's instant 0, ISO 8601.
        held: For `Hello`: whether time stands still but for hands.
        world: For `Look`.
    """

    id: int
    now_ns: int
    octets: bytes | None = None
    high: bool | None = None
    epoch: str | None = None
    held: bool = False
    world: dict[str, Any] | None = None


class Refused(msgspec.Struct, frozen=True, omit_defaults=True, tag_field="is", tag="refused"):
    """A request was not done.

    Attributes:
        id: Of the request; 0 where it could not be read.
        why: In words.
        device: Where a device failed: its name.
        reason: And the word for machines; empty where the request itself is wrong.
        kind: And which error of `linetender_drivers.errors` it is.
    """

    id: int
    why: str
    device: str = ""
    reason: str = ""
    kind: str = ""


class Later(msgspec.Struct, frozen=True, tag_field="is", tag="later"):
    """The request takes simulated time: its answer comes when it is done."""

    id: int


class Edge(msgspec.Struct, frozen=True, tag_field="is", tag="edge"):
    """A claimed input has changed its level."""

    gpio: int
    high: bool


Said = Answer | Refused | Later | Edge
