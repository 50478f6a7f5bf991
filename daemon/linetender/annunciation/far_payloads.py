"""What comes back from afar: the shapes of what second boxes and users send."""

from enum import StrEnum
from typing import Annotated

import msgspec

from linetender.core.events import Sound
from linetender.core.inputs import Verb

LARGEST_BYTES = 1024
"""No message from afar is larger (chosen: five times the longest of ours)."""

Id = Annotated[str, msgspec.Meta(min_length=1, max_length=32, pattern=r"^[0-9A-Za-z_-]+(?![\s\S])")]
"""Drawn by a sender at its start, so that its counts are told from those before."""

Number = Annotated[int, msgspec.Meta(ge=0, le=2**53)]
"""A count that every reader of JSON can hold."""


class Role(StrEnum):
    """Who is near a second box."""

    WEARER = "wearer"
    ATTENDANT = "attendant"


class Gesture(StrEnum):
    """What was done to the button of a second box."""

    TAP = "tap"
    HOLD = "hold"
    """Held for 2 s: a call for help."""


class Confirm(msgspec.Struct, frozen=True):
    """What a second box has heard and does.

    Attributes:
        run: The run of the station that it hears.
        heard: Number of the last heartbeat that it received.
        shown: Highest number of an alarm that it has sounded for at least 0.3 s.
        sounding: What its sounder is being driven to.
        v: Version of the shape.
    """

    run: Id
    heard: Number
    shown: Number
    sounding: Sound
    v: int = 1


class Press(msgspec.Struct, frozen=True, rename={"sender": "from"}):
    """A press at a second box.

    Attributes:
        run: The run of the station that the box hears.
        heard: Number of the last heartbeat that it received.
        sender: Drawn at the start of the box; `from` in JSON.
        count: Rises with each press since then.
        shown: See `Confirm`: nothing newer is answered.
        gesture: What was done.
        v: Version of the shape.
    """

    run: Id
    heard: Number
    sender: Id
    count: Number
    shown: Number
    gesture: Gesture
    v: int = 1


class Order(msgspec.Struct, frozen=True, rename={"sender": "from"}):
    """A user's command.

    Attributes:
        run: The run of the station that the user sees.
        heard: Number of the last heartbeat that the user's program received.
        sender: Drawn at that program's start; `from` in JSON.
        count: Rises with each command since then.
        shown: Highest number of an alarm that the user had seen.
        verb: What is wanted.
        v: Version of the shape.
    """

    run: Id
    heard: Number
    sender: Id
    count: Number
    shown: Number
    verb: Verb
    v: int = 1


class Reply(msgspec.Struct, frozen=True):
    """What came of a command.

    Attributes:
        count: Of the command.
        ok: Whether it was done.
        why: If not, why; empty otherwise.
        v: Version of the shape.
    """

    count: int
    ok: bool
    why: str = ""
    v: int = 1
