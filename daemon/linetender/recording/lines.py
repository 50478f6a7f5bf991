"""The kinds of line a recording is made of, and their schema number."""

from enum import StrEnum
from typing import Any

import msgspec

from linetender import __version__
from linetender.core.carryover import Carryover
from linetender.core.events import Event
from linetender.core.inputs import Input
from linetender.core.plan import Plan
from linetender.core.plan_faults import fault_of_plan

SCHEMA = 1
"""Of the format. It rises when an older reader would misread a file; new optional
fields do not raise it, for readers pass over fields that they do not know."""


class SegmentReason(StrEnum):
    """Why a segment begins."""

    START = "start"
    ROTATION = "rotation"
    """The file before it grew long enough."""
    RELOAD = "reload"
    """The station file was read anew."""
    GAP = "gap"
    """Lines between this segment and the one before were lost."""
    RESTART = "restart"
    """The daemon came back while its last session was going on."""


class EndReason(StrEnum):
    """Why a segment ends."""

    STOPPED = "stopped"
    """The session is over."""
    ROTATION = "rotation"
    RELOAD = "reload"
    GAP = "gap"


class Segment(msgspec.Struct, frozen=True, tag_field="is", tag="segment", kw_only=True):
    """The header of a segment: all that a new Watch is built from, and where it came from.

    Make one with `segment_of()`, which checks the plan.

    Attributes:
        schema: Of the format; see `SCHEMA`.
        software: Version of linetender that wrote it.
        station: Id of the station.
        started_ns: Watch time at which the segment begins.
        why: What began it.
        wall: `started_ns` as text (ISO 8601 with offset), for people; orders nothing.
        synchronised: Whether the wall clock was known to be right then.
        boot: Hashed boot id of the machine, or `demo`.
        plan: The compiled station; replay needs nothing else.
        carryover: State brought over from the Watch before, or None.
        settings: The station file without its private fields.
        private: Names of the fields left out.
        calibrations: Those in force, oldest first.
    """

    schema: int
    software: str
    station: str
    started_ns: int
    why: SegmentReason
    wall: str
    synchronised: bool
    boot: str
    plan: Plan
    carryover: Carryover | None = None
    settings: dict[str, Any] = {}
    private: tuple[str, ...] = ()
    calibrations: tuple[dict[str, Any], ...] = ()


class Check(msgspec.Struct, frozen=True, gc=False, tag_field="is", tag="check"):
    """Vouches for all that stands before it in the file.

    Attributes:
        lines: Lines since the last check line, or since the start of the file.
        until_ns: The time to which the Watch had advanced.
        crc32: CRC-32 (that of zlib and of ISO 3309) of every byte of the file before
            these eight lower-case hexadecimal digits, earlier check lines included.
    """

    lines: int
    until_ns: int
    crc32: str


class End(msgspec.Struct, frozen=True, tag_field="is", tag="end"):
    """Closes a segment in good order; a segment without one was cut short."""

    until_ns: int
    why: EndReason


class Frame(msgspec.Struct, frozen=True, gc=False, tag_field="is", tag="frame"):
    """What a device answered, as it came; recorded only where that is wanted.

    Attributes:
        arrived_ns: When it arrived, in Watch time.
        source: Name of the device in the station file.
        hex: Its bytes, in lower-case hexadecimal digits.
    """

    arrived_ns: int
    source: str
    hex: str


Line = Segment | Check | End | Frame | Input | Event


def segment_of(
    plan: Plan,
    started_ns: int,
    *,
    why: SegmentReason,
    wall: str,
    synchronised: bool,
    boot: str,
    carryover: Carryover | None = None,
    settings: dict[str, Any] | None = None,
    private: tuple[str, ...] = (),
    calibrations: tuple[dict[str, Any], ...] = (),
) -> Segment:
    """Make the header of a segment as this version writes it; for the fields see `Segment`.

    Raises:
        ValueError: the plan holds what a file cannot give back, such as a limit that is nan.
    """
    fault = fault_of_plan(plan)
    if fault:
        raise ValueError(f"plan of station {plan.station}: {fault}")
    return Segment(
        schema=SCHEMA,
        software=__version__,
        station=plan.station,
        started_ns=started_ns,
        why=why,
        wall=wall,
        synchronised=synchronised,
        boot=boot,
        plan=plan,
        carryover=carryover,
        settings=settings or {},
        private=private,
        calibrations=calibrations,
    )


def as_recorded(carryover: Carryover) -> Carryover:
    """Return a carryover as a reader of the file will see it.

    A live Watch is built from this, so that it is the very one that replay builds.
    """
    return msgspec.json.decode(msgspec.json.encode(carryover), type=Carryover)
