"""Times and durations as people read them."""

_NBSP = "\N{NO-BREAK SPACE}"  # no unit leaves its number at the end of a line


def span(seconds: float) -> str:
    """Say a duration in the two largest units that fit: 1 h 30 min, 12 min 5 s, 3.2 s."""
    if seconds < 59.95:
        return f"{seconds:.1f}{_NBSP}s"
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        return f"{hours}{_NBSP}h {minutes}{_NBSP}min"
    return f"{minutes}{_NBSP}min {rest}{_NBSP}s"


def clock(seconds: float) -> str:
    """Write a time since the start of a session: 1:43 (min:s) or 2:05:30 (h:min:s)."""
    minutes, rest = divmod(int(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{rest:02}" if hours else f"{minutes}:{rest:02}"


def part_text(part: float) -> str:
    """Write a part (0 to 1) in percent; only what is whole is called 100 %."""
    percent = 100.0 * part
    if 99.9 < percent < 100.0:
        return f"over 99.9{_NBSP}%"
    return f"{percent:.1f}{_NBSP}%" if percent != round(percent) else f"{percent:.0f}{_NBSP}%"


def moment(seconds: float) -> str:
    """Write a time since the start of a session with its unit: 1:43 min or 2:05:30 h."""
    return f"{clock(seconds)}{_NBSP}{'h' if seconds >= 3600 else 'min'}"
