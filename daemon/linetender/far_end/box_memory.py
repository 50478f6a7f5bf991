"""What a second box keeps on its disk: the last stage of each station."""

import asyncio
import logging
from pathlib import Path

import msgspec

from linetender.far_end.remote_watch import Remembered
from linetender.runtime.carryover_file import write_whole

_LOG = logging.getLogger(__name__)

FILE_NAME = "stations.json"


class BoxMemory:
    """Reads what an earlier run left, and writes what changes, beside the event loop.

    Args:
        folder: Where the file lies; it is made if need be.

    Raises:
        OSError: the folder cannot be made.
    """

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        self._path = folder / FILE_NAME
        self._kept: dict[str, Remembered] = {}
        self._writing: asyncio.Task[None] | None = None
        self._failed = False

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
        """Write what is remembered now, if it changed; returns at once."""
        worth = {name: _worth(one) for name, one in remembered.items()}
        if worth == {name: _worth(one) for name, one in self._kept.items()}:
            return
        if self._writing is not None and not self._writing.done():
            return  # the disk is slow: asked again at the next turn
        self._kept = remembered
        self._writing = asyncio.get_running_loop().create_task(self._write())

    async def _write(self) -> None:
        try:
            await asyncio.to_thread(write_whole, self._path, msgspec.json.encode(self._kept))
        except OSError as error:
            if not self._failed:
                _LOG.error("%s: %s; the last stage is not kept", self._path, error.strerror)
            self._failed = True
        else:
            self._failed = False


def _worth(one: Remembered) -> tuple[str, str, bool]:
    """What decides after a restart: not the number of each state, or the card wears out."""
    return one.run, one.stage.value, one.sounded
