"""The core's state on the disk, so that a restart resumes where the run before stood.

One small file, replaced whole: temporary file, fsync, rename, fsync of the folder. A
thread of its own writes it; when the disk is slow only the newest state is written.
"""

import contextlib
import logging
import os
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from threading import Condition, Thread
from typing import Protocol

import msgspec

from linetender.core.carryover import Carryover
from linetender.core.events import Event
from linetender.core.plan import AirPlan, Plan
from linetender.core.watch import Watch
from linetender.memory.outbox import state_in
from linetender.memory.store import FILE_NAME as MEMORY_NAME
from linetender.memory.store import MemoryFault, open_store
from linetender.runtime.boot import UNKNOWN_BOOT

_LOG = logging.getLogger(__name__)

FILE_NAME = "carryover.json"

_NOT_A_STATE = (ArithmeticError, AttributeError, LookupError, RecursionError, TypeError, ValueError)
"""What comes of decoding and restoring something else than a state of this version."""


class KeptState(msgspec.Struct, frozen=True):
    """What the file holds.

    Attributes:
        boot: Hashed boot id of the machine that wrote it.
        at_ns: The machine's monotonic clock at the state's instant.
        carryover: The state.
        air: What the state's baseline of the air was measured by.
        wall_s: The time of day (s since 1970), to tell which of two boots was the later.
    """

    boot: str
    at_ns: int
    carryover: Carryover
    air: AirPlan | None = None
    wall_s: float = 0.0


def load_carryover(
    folder: Path, boot: str, plan: Plan, machine_ns: Callable[[], int] = time.monotonic_ns
) -> Carryover | None:
    """Return what the run before left, ready for a restart; None where it left nothing usable.

    It lies in the file of this module or, where the station tells a broker, in the memory
    beside the events that wait; the newer one counts. The blind time is known within one
    boot of the machine; after a power-down it is not.

    Args:
        folder: Where the state is kept.
        boot: Hashed boot id of now.
        plan: The station that is to go on from it.
        machine_ns: The machine's monotonic clock.
    """
    found = [(path, kept) for path, kept in _kept_in(folder) if kept is not None]
    if not found:
        return None
    path, kept = max(found, key=lambda one: _recency(one[1], boot))
    try:
        same_boot = kept.boot == boot != UNKNOWN_BOOT
        blind_ns = max(0, machine_ns() - kept.at_ns) if same_boot else None
        carryover = _for_plan(kept, plan).after_restart(blind_ns)
        Watch(plan, 0, carryover).carryover()  # proves that it can be restored
    except _NOT_A_STATE as error:
        _warn(path, error)
        return None
    return carryover


def _recency(kept: KeptState, boot: str) -> tuple[bool, float]:
    return (True, kept.at_ns) if kept.boot == boot else (False, kept.wall_s)


def _kept_in(folder: Path) -> Iterator[tuple[Path, KeptState | None]]:
    for path, read in ((folder / FILE_NAME, _file), (folder / MEMORY_NAME, _memory)):
        if path.exists():
            try:
                yield path, read(path)
            except (OSError, MemoryFault, *_NOT_A_STATE) as error:
                _warn(path, error)


def _file(path: Path) -> KeptState:
    return msgspec.json.decode(path.read_bytes(), type=KeptState)


def _memory(path: Path) -> KeptState | None:
    with open_store(path.parent) as store:
        state = state_in(store)
    return None if state is None else msgspec.json.decode(state, type=KeptState)


def _warn(path: Path, error: Exception) -> None:
    _LOG.warning("%s: what the run before left cannot be used (%s); starting anew", path, error)


def _for_plan(kept: KeptState, plan: Plan) -> Carryover:
    """Drop the air's baseline where the line was taught or calibrated since.

    It would be a number in other units, or of another sensor: Pa taken for L/min would
    let nearly all of the air go before anything sounds. Without it the normal counts
    until the air has been good for a while.
    """
    air = kept.carryover.parts.get("air")
    if kept.air is None or kept.air == plan.air or air is None:
        return kept.carryover
    changed = {**air, "baseline": None, "baseline_rpm": None, "speed_ratio": 1.0}
    return msgspec.structs.replace(kept.carryover, parts={**kept.carryover.parts, "air": changed})


class StateKeeper(Protocol):
    """What keeps the core's state for the next run."""

    @property
    def fault(self) -> str:
        """Why it is not kept, for people; empty while it is."""

    def keep(self, carryover: Carryover, events: tuple[Event, ...] = (), told_ns: int = 0) -> None:
        """Take the state and the events that led to it, at `told_ns` of Watch time."""

    def close(self, within_s: float = 2.0) -> None:
        """Store what waits and stop, `within_s` at most."""


class CarryoverKeeper:
    """Writes the newest state to the disk, from a thread of its own.

    Attributes:
        fault: Why the last attempt failed, for people; empty while all is well.
    """

    def __init__(
        self,
        folder: Path,
        boot: str,
        air: AirPlan | None = None,
        machine_ns: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        """Start the thread.

        Args:
            folder: Where the state is kept.
            boot: Hashed boot id of now.
            air: How the station's air is derived.
            machine_ns: The machine's monotonic clock.

        Raises:
            OSError: the folder cannot be made.
        """
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        self.fault = ""
        self._path = folder / FILE_NAME
        self._boot = boot
        self._air = air
        self._machine_ns = machine_ns
        self._newest: KeptState | None = None
        self._changed = Condition()
        self._closing = False
        self._thread = Thread(target=self._run, name="carryover", daemon=True)
        self._thread.start()

    def keep(self, carryover: Carryover, events: tuple[Event, ...] = (), told_ns: int = 0) -> None:
        """Hand over the state of now; returns at once. Events are not kept here."""
        del events, told_ns
        kept = KeptState(self._boot, self._machine_ns(), carryover, self._air, time.time())
        with self._changed:
            self._newest = kept
            self._changed.notify()

    def close(self, within_s: float = 2.0) -> None:
        """Write what waits and stop, `within_s` at most."""
        with self._changed:
            self._closing = True
            self._changed.notify()
        self._thread.join(within_s)

    def _run(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._newest is not None or self._closing)
                kept, self._newest = self._newest, None
            if kept is None:
                return
            try:
                write_whole(self._path, msgspec.json.encode(kept))
                self.fault = ""
            except OSError as error:
                self.fault = f"{self._path}: {error.strerror}; the state is not kept"


def write_whole(path: Path, data: bytes) -> None:
    """Replace a file so that after a power cut either the old or the new one is there, whole.

    Raises:
        OSError: the disk refuses; the old file is untouched.
    """
    temporary = path.with_suffix(".new")
    try:
        descriptor = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
    except OSError:
        with contextlib.suppress(OSError):
            temporary.unlink()
        raise
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
