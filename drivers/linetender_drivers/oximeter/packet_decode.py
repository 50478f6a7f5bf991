"""From a frame in a maker's own language to measurements, by its description. Pure."""

from linetender_drivers.errors import BadFrame
from linetender_drivers.measurements import Measurement
from linetender_drivers.oximeter.battery import BATTERY
from linetender_drivers.oximeter.packet_description import PacketDescription
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
    numbers = description.fields.numbers()
    for bits in description.frame.carries:
        if bits.byte >= len(frame) or not bits.are_in(frame):
            return ()
    try:
        flags = description.flags
        is_out = flags.finger_out is not None and flags.finger_out.are_in(frame)
        is_low = flags.low_signal is not None and flags.low_signal.are_in(frame)
        joined = {signal: number.joined(frame) for signal, number in numbers.items()}
    except IndexError as error:
        raise BadFrame(
            device, f"{len(frame)} octets are too few for the fields described", frame
        ) from error
    made = []
    for signal, number in numbers.items():
        raw = joined[signal]
        if is_out and signal != BATTERY:
            made.append(Measurement(signal, reason=FINGER_OUT))
        elif raw in number.invalid:
            made.append(Measurement(signal, reason=NO_VALUE))
        else:
            doubt = POOR_SIGNAL if is_low and signal != BATTERY else None
            value = raw * number.scale + number.offset
            made.append(plausible_measurement(signal, value, doubt=doubt))
    return tuple(made)
