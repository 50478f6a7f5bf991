"""From counted edges to the speed of a fan. Pure."""


def speed_rpm(edges: int, elapsed_ns: int, pulses_per_turn: int) -> float:
    """Return the mean speed over a time, turns per minute.

    Args:
        edges: Changes of the line, both ways, in that time.
        elapsed_ns: The time, ns, above 0.
        pulses_per_turn: Of the tachometer; each is two edges.
    """
    return edges / (2 * pulses_per_turn) / (elapsed_ns / 60e9)
