"""What a second box keeps on its disk: the last stage of each station."""

import logging
from pathlib import Path
from threading import Condition, Thread

import msgspec

from linetender.far_end.remote_watch import Remembered
from linetender.runtime.carryover_file import write_whole

_LOG = logging.getLogger(__name__)

FILE_NAME = "stations.json"

RETRY_AFTER_S = 5.0
"""After a failure the disk is tried again this much later (chosen)."""


class BoxMemory:
    """Reads what an earlier run left, and writes what changes, from a thread of its own.

    Args:
        folder: Where the file lies; it is made if need be.

    Raises:
        OSError: the folder cannot be made.
    """

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        self._path = folder / FILE_NAME
        self._kept: dict[str, Remembered] = {}
        self._newest: dict[str, Remembered] | None = None
        self._changed = Condition()
        self._closing = False
        self._thread = Thread(target=self._run, name="box-memory", daemon=True)
        self._thread.start()

    def recall(self) -> dict[str, Remembered]:
        """Return what was kept, by station; nothing where that cannot be read."""
        try:
            self._kept = msgspec.json.decode(self._path.read_bytes(), type=dict[str, Remembered])
        except FileNotFoundError:
            pass
        except (OSError, msgspec.DecodeError, UnicodeDecodeError) as error:
            _LOG.warning("%s cannot be used (%s): no station is remembered", self._path, error)
        return dict(self._kept)

    def keep(self, remembered: dict[str, Remembered]) -> None:
        """Hand over what is remembered now, to be written if it changed; returns at once."""
        if {name: _worth(one) for name, one in remembered.items()} == {
            name: _worth(one) for name, one in self._kept.items()
        }:
            return
        with self._changed:
            self._kept = self._newest = dict(remembered)
            self._changed.notify()

    def close(self, within_s: float = 2.0) -> None:
        """Write what waits and stop, `within_s` at most."""
        with self._changed:
            self._closing = True
            self._changed.notify()
        self._thread.join(within_s)

    def _run(self) -> None:
        failed = False
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._newest is not None or self._closing)
                kept, self._newest = self._newest, None
            if kept is None:
                return
            try:
                write_whole(self._path, msgspec.json.encode(kept))
                failed = False
            except OSError as error:
                if not failed:
                    _LOG.error("%s: %s; the last stage is not kept", self._path, error.strerror)
                failed = True
                self._try_again_later(kept)

    def _try_again_later(self, kept: dict[str, Remembered]) -> None:
        with self._changed:
            self._changed.wait_for(lambda: self._newest is not None or self._closing, RETRY_AFTER_S)
            if self._newest is None and not self._closing:
                self._newest = kept


def _worth(one: Remembered) -> tuple[str, str, bool]:
    """What decides after a restart: not the number of each state, or the card wears out."""
    return one.run, one.stage.value, one.sounded
