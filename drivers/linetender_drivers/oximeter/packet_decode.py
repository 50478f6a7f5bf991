"""From a frame in a maker's own language to measurements, by its description. Pure."""

from linetender_drivers.errors import BadFrame
from linetender_drivers.measurements import Measurement
from linetender_drivers.oximeter.battery import BATTERY
from linetender_drivers.oximeter.packet_description import Number, PacketDescription
from linetender_drivers.oximeter.plausibility import (
    FINGER_OUT,
    NO_VALUE,
    POOR_SIGNAL,
    plausible_measurement,
)


def decode_packet(
    device: str, description: PacketDescription, frame: bytes
) -> tuple[Measurement, ...]:
    """Return what a frame says, one measurement for each field of the description.

    The rules are those of every oximeter: no number while the finger is out or where the
    oximeter sends its "no value", doubt while the signal is low, and `out_of_range` for
    what no wearer can have.

    Args:
        device: Name of the oximeter, for the error.
        description: How its frames look.
        frame: A whole frame.

    Returns:
        The measurements; none for a frame that carries something else.

    Raises:
        BadFrame: the frame ends before a field of it.
    """
    for bits in description.frame.carries:
        if bits.byte >= len(frame) or not bits.are_in(frame):
            return ()
    flags = description.flags
    try:
        is_out = flags.finger_out is not None and flags.finger_out.are_in(frame)
        is_low = flags.low_signal is not None and flags.low_signal.are_in(frame)
        return tuple(
            _measurement(signal, number, number.joined(frame), is_out=is_out, is_low=is_low)
            for signal, number in description.fields.numbers().items()
        )
    except IndexError as error:
        raise BadFrame(
            device, f"{len(frame)} octets are too few for the fields described", frame
        ) from error


def _measurement(
    signal: str, number: Number, joined: int, *, is_out: bool, is_low: bool
) -> Measurement:
    if is_out and signal != BATTERY:
        return Measurement(signal, reason=FINGER_OUT)
    if joined in number.invalid:
        return Measurement(signal, reason=NO_VALUE)
    doubt = POOR_SIGNAL if is_low and signal != BATTERY else None
    return plausible_measurement(signal, joined * number.scale + number.offset, doubt=doubt)
