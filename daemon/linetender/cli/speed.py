"""How fast simulated time passes, as an option of verbs."""

import math

import typer


def finite(speed: float) -> float:
    """Return a speed as given.

    Raises:
        BadParameter: it is infinite; 0 is what waits for nothing.
    """
    if not math.isfinite(speed):
        raise typer.BadParameter("must be a finite number of simulated seconds per second")
    return speed
