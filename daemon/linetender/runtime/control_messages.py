"""What goes over a station's local socket: lines of JSON, asked and answered.

A line is at most 64 KiB. Each request has a number that its answer repeats; `watch` is
answered again and again until the client leaves.
"""

from enum import StrEnum
from typing import Annotated, Literal

import msgspec

from linetender.core.snapshot import Snapshot
from linetender.runtime.proof_messages import Deed, ProofView

SOCKET_NAME = "control.sock"

LONGEST_LINE = 65_536
"""Bytes of a line, with its end."""


class Ask(StrEnum):
    """What can be asked of a running daemon."""

    STATUS = "status"
    WATCH = "watch"
    ACKNOWLEDGE = "acknowledge"
    PAUSE_SOUND = "pause-sound"
    RESET = "reset"
    PRE_USE = "pre-use"
    START = "start"
    END = "end"
    OUT = "out"
    TEST_ALARM = "test-alarm"
    PROOF = "proof"


class Arguments(msgspec.Struct, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """How it is meant.

    Attributes:
        wearer: Whether it is the wearer's own hand; else it counts as an attendant's.
        shown: For `acknowledge`: highest number of an alarm's transition that was seen.
        duration_s: For `pause-sound` (s).
        rule: For `reset`: one rule; empty for all.
        step: For `pre-use`: a step that is overridden; for `proof`: which is meant.
        reason: Why it is.
        deed: For `proof`: what somebody does.
        seconds: For `proof`: what a person's own watch showed (s).
    """

    wearer: bool = False
    shown: Annotated[int, msgspec.Meta(ge=0, le=2**53)] = 0
    duration_s: Annotated[float, msgspec.Meta(ge=0, le=3600)] = 0.0
    rule: Annotated[str, msgspec.Meta(max_length=100)] = ""
    step: Annotated[str, msgspec.Meta(max_length=100)] = ""
    reason: Annotated[str, msgspec.Meta(max_length=400)] = ""
    deed: Deed = Deed.LOOK
    seconds: Annotated[float, msgspec.Meta(ge=0, le=3600)] | None = None


class Request(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One request."""

    id: Annotated[int, msgspec.Meta(ge=0, le=2**53)]
    verb: Ask
    args: Arguments = Arguments()
    v: Literal[1] = 1


class BrokerView(msgspec.Struct, frozen=True):
    """How the way to the broker stands.

    Attributes:
        connected: Whether the broker has accepted the connection.
        waiting: Messages that it has not confirmed yet.
        confirmed_ago_s: How long ago it confirmed one last (s); None before the first.
    """

    connected: bool
    waiting: int
    confirmed_ago_s: float | None


class Status(msgspec.Struct, frozen=True):
    """How a station stands.

    Attributes:
        station: Its id.
        snapshot: Everything that is known of it.
        lines: With `watch`: what happened since the answer before, for people.
        broker: The way to the broker; None where the station tells none.
        filter_due: Until when the filter is good (ISO 8601); empty where nothing says.
    """

    station: str
    snapshot: Snapshot
    lines: tuple[str, ...] = ()
    broker: BrokerView | None = None
    filter_due: str = ""


class Answer(msgspec.Struct, frozen=True):
    """The answer to a request.

    Attributes:
        id: Of the request; 0 where it could not be read.
        ok: Whether it was done.
        result: For `status` and `watch`.
        error: Why it was not done, in words.
        proof: For `proof`: how the proof test stands.
        v: Version of the shape.
    """

    id: int
    ok: bool
    result: Status | msgspec.UnsetType = msgspec.UNSET
    error: str | msgspec.UnsetType = msgspec.UNSET
    proof: ProofView | msgspec.UnsetType = msgspec.UNSET
    v: int = 1
