"""A process that is killed: it makes numbered events and delivers them to a file.

Its state is the number of the last event, as the core's transition counter is. It goes
on from what is kept, as a daemon does.
"""

import os
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import msgspec

from linetender.annunciation.payloads import Wall
from linetender.core.alarm_table import AlarmState
from linetender.core.carryover import Carryover
from linetender.core.events import AlarmChanged
from linetender.core.stages import Priority
from linetender.memory.outbox import state_in
from linetender.memory.store import open_store
from linetender.runtime.carryover_file import KeptState
from linetender.runtime.outbox import Outbox

AT = "2000-01-01T00:00:00+00:00"


def last_number(folder: Path) -> int:
    """Return the number of the last event that the kept state knows of."""
    with open_store(folder) as store:
        state = state_in(store)
    if state is None:
        return 0
    kept = msgspec.json.decode(state, type=KeptState)
    number: int = kept.carryover.parts["journal"]["n"]
    return number


class FileBroker:
    """Takes each message by a line in a file, then answers."""

    def __init__(self, path: Path) -> None:
        self._file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)

    def publish(
        self,
        topic: str,
        payload: bytes,
        *,
        qos: int = 0,
        retain: bool = False,
        expiry_s: int | None = None,
        answered: Callable[[int], None] | None = None,
    ) -> None:
        os.write(self._file, payload + b"\n")
        if answered is not None:
            answered(0)


def box_at(folder: Path, run: str) -> Outbox:
    """Return an outbox in a folder that delivers to a file in it."""
    broker = FileBroker(folder / "delivered")
    return Outbox(
        folder, "event", run, "boot", broker.publish, lambda: True, lambda: Wall(AT, False)
    )


def main(folder: Path, run: str) -> None:
    """Make events until killed."""
    outbox = box_at(folder, run)
    number = last_number(folder)
    outbox.start()
    print("ready", flush=True)  # noqa: T201 - the parent waits for it
    between = threading.Event()
    while True:
        number += 1
        event = AlarmChanged(
            0, number, "air_lost", AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED, Priority.HIGH
        )
        outbox.keep(Carryover({"journal": {"n": number}}), (event,))
        between.wait(0.001)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2])
