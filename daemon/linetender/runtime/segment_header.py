"""The header of a recording's segment, out of a live station."""

from linetender.annunciation.payloads import Wall
from linetender.core.carryover import Carryover
from linetender.recording.lines import Segment, SegmentReason, segment_of
from linetender.settings.station import Station


def header_of(
    station: Station,
    now_ns: int,
    why: SegmentReason,
    carryover: Carryover | None,
    wall: Wall,
    boot: str,
) -> Segment:
    """Return the header of a segment that begins now.

    Args:
        station: The station.
        now_ns: Watch time.
        why: What begins it.
        carryover: What its Watch was made with, or None.
        wall: The time of day.
        boot: Hashed boot id.
    """
    shown = dict(station.shown)
    private = tuple(shown.pop("left_out", ()))
    return segment_of(
        station.plan,
        now_ns,
        why=why,
        wall=wall.at,
        synchronised=wall.synchronised,
        boot=boot,
        carryover=carryover,
        settings=shown,
        private=private,
        calibrations=station.calibrations,
    )
