"""Instants and durations: whole monotonic nanoseconds since the daemon started."""

SECOND_NS = 1_000_000_000
MILLISECOND_NS = 1_000_000

NEVER_NS = 1 << 62
"""Later than any instant of any session (146 years): a deadline that is not set."""


def from_seconds(seconds: float) -> int:
    """Turn a duration that a person wrote (s, finite, any sign) into whole nanoseconds."""
    return round(seconds * SECOND_NS)


def to_seconds(duration_ns: int) -> float:
    """Turn a duration (ns) into seconds, for words and figures only: never for ordering."""
    return duration_ns / SECOND_NS
