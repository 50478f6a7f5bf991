"""What a station file calls a bus, chip or radio peer that is simulated.

`simulated` lives inside the program that opens it; `simulated:DIR` is served by
`linetender simulate` from a folder, so that several programs share one world.
"""

SIMULATED = "simulated"

SIMULATED_PATTERN = r"simulated(:.+)?"
"""Matches every such name."""

_SERVED = "simulated:"


def is_simulated(place: str) -> bool:
    """Whether a bus, chip or address is a simulated one."""
    return place == SIMULATED or place.startswith(_SERVED)


def world_at(place: str) -> str | None:
    """Return the folder that a place's world is served from, or None: it is not served."""
    return place.removeprefix(_SERVED) if place.startswith(_SERVED) else None


def served(folder: str) -> str:
    """Return what station files call the places of a world that is served from a folder."""
    return _SERVED + folder
