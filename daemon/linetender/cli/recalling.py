"""Where verbs that load a station file ask what was taught and calibrated."""

from datetime import datetime
from pathlib import Path

from linetender.cli.state_folder import state_folder
from linetender.memory.recall import remembered_in
from linetender.memory.store import MemoryFault
from linetender.settings.remembered import Recall, Remembered, nothing_recalled


def recall_for(state: Path | None, *, is_simulation: bool = False) -> Recall:
    """Return how to ask a station's memory.

    A memory that cannot be used is taken as empty, and that is told with what has
    expired: a station whose file says enough shall watch all the same.

    Args:
        state: Option `--state`, or None.
        is_simulation: Then a memory counts only where `--state` names it.
    """
    if is_simulation and state is None:
        return nothing_recalled

    def recall(station: str) -> Remembered:
        try:
            return remembered_in(state_folder(state, station), datetime.now().astimezone())
        except (MemoryFault, OSError, ValueError) as error:
            return Remembered(expired=(f"What was taught and calibrated is not known: {error}",))

    return recall
