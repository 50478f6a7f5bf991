"""What a second box hears of a station: decoded, or refused."""

from typing import TypeVar

import msgspec

from linetender.annunciation.far_payloads import Id, Number
from linetender.annunciation.payloads import Alive, State

NOT_OF_A_STATION = (msgspec.MsgspecError, UnicodeDecodeError, RecursionError)
"""What comes of decoding what no station sends."""

Heard = TypeVar("Heard", Alive, State)


def decoded(payload: bytes, shape: type[Heard]) -> Heard:
    """Decode a heartbeat or a state.

    Its run and number go into what the box answers, so that they must be ones that the
    station would read.

    Raises:
        One of `NOT_OF_A_STATION`: it is not what a station sends.
    """
    heard = msgspec.json.decode(payload, type=shape)
    msgspec.convert(heard.run, Id)
    msgspec.convert(heard.seq, Number)
    return heard
