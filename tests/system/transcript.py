"""A recording's events as text for people: all of them, with every field."""

from pathlib import Path

import msgspec

from linetender.recording.lines import Segment
from linetender.recording.reader import RecordingReader

NS_PER_S = 1_000_000_000


def transcript(path: Path) -> str:
    """Return one line per segment, event and end, in their order."""
    lines = []
    for part in RecordingReader(path).parts():
        if isinstance(part, Segment):
            lines.append(f"{_at(part.started_ns)}  segment begins: {part.why.value}")
            continue
        for event in part.events:
            fields = msgspec.to_builtins(event)
            kind, due_ns = fields.pop("is"), fields.pop("due_ns")
            told = ", ".join(f"{key} {_text(value)}" for key, value in fields.items())
            lines.append(f"{_at(due_ns)}  {kind.replace('_', ' ')}: {told}")
        if part.end is not None:
            lines.append(f"{_at(part.end.until_ns)}  segment ends: {part.end.why.value}")
    return "\n".join(lines) + "\n"


def _at(instant_ns: int) -> str:
    """Write an instant in seconds, to the nanosecond."""
    seconds, rest = divmod(instant_ns, NS_PER_S)
    return f"{seconds:>5}.{rest:09d} s"


def _text(value: object) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} {_text(each)}" for key, each in value.items()) + "}"
    return value if isinstance(value, str) and value else repr(value)
