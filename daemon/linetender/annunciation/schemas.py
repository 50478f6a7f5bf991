"""JSON Schemas of all that stations, second boxes and users send each other as JSON.

`config/mqtt/` holds them as files, made from here.
"""

from typing import Any

import msgspec

from linetender.annunciation.far_payloads import Confirm, Order, Press, Reply
from linetender.annunciation.forward_payload import ForwardPacket
from linetender.annunciation.payloads import Alarm, Alive, EventMessage, State

SHAPES: dict[str, tuple[str, type[msgspec.Struct]]] = {
    "alive": ("alive", Alive),
    "state": ("state", State),
    "alarm": ("alarm/RULE", Alarm),
    "event": ("event", EventMessage),
    "confirm": ("far/BOX/confirm", Confirm),
    "press": ("far/BOX/press", Press),
    "forward": ("forward/BOX", ForwardPacket),
    "command": ("command/USER", Order),
    "reply": ("reply/USER", Reply),
}
"""By the name of its file: the topic below `linetender/STATION/`, and what is sent there."""


def schema_text(name: str) -> str:
    """Return the schema of one payload, as its file holds it."""
    topic, shape = SHAPES[name]
    made = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"linetender/STATION/{topic}",
        **_with_first_sentences(msgspec.json.schema(shape)),
    }
    return msgspec.json.format(msgspec.json.encode(made), indent=2).decode() + "\n"


def _with_first_sentences(part: Any) -> Any:
    """Keep the first line of each docstring; the rest stands in the code."""
    if isinstance(part, list):
        return [_with_first_sentences(each) for each in part]
    if not isinstance(part, dict):
        return part
    return {
        key: each.partition("\n")[0]
        if key == "description" and isinstance(each, str)
        else _with_first_sentences(each)
        for key, each in part.items()
    }
