"""What a door of the program is, for those who throw things at it."""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from linetender.core.inputs import Input, Quality, Reading
from linetender_drivers.measurements import Measurement


@dataclass(frozen=True)
class Door:
    """One way by which bytes from outside come in.

    Attributes:
        name: For people and the command line.
        take: Lets bytes in. Whatever they are, it returns: what is refused was refused by
            the error that the door promises, in words. Anything else that it raises is a
            finding.
        seeds: Bytes that get far, to begin from.
        words: Pieces that such bytes are made of.
        most: Longest input that makes sense (bytes).
    """

    name: str
    take: Callable[[bytes], None]
    seeds: tuple[bytes, ...]
    words: tuple[bytes, ...] = ()
    most: int = 4096


def one_line(text: str) -> None:
    """Refuse words that are none, or would run over a person's screen."""
    assert text.strip(), "a refusal without words"
    assert len(text) < 2000, text


def no_false_numbers(made: Iterable[Measurement]) -> None:
    """Refuse a measurement that is neither a finite number nor a reason."""
    for one in made:
        assert (one.value is None) != (one.reason is None), one
        assert one.value is None or math.isfinite(one.value), one
        assert one.device_time is None or math.isfinite(one.device_time), one


def no_false_readings(inputs: Iterable[Input]) -> None:
    """Refuse a reading that is bad and carries a number, or good and carries none."""
    for one in inputs:
        if isinstance(one, Reading):
            is_number = one.value is not None and math.isfinite(one.value)
            assert is_number is (one.quality is not Quality.BAD), one
