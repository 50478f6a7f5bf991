"""Looks after the folder of recordings while the station runs, from a thread of its own."""

import logging
from collections.abc import Callable, Collection
from pathlib import Path
from threading import Event, Thread

from linetender.recording.compression import compress_file
from linetender.recording.retention import Retention, delete_old, sessions_in

_LOG = logging.getLogger(__name__)

EVERY_S = 600.0
"""Time between two turns (s). Chosen: files change every few hours."""


class Upkeep:
    """Compresses complete files and deletes old sessions, now and then.

    Args:
        folder: Where the recordings are.
        retention: How much is kept.
        is_compressing: Whether complete files are compressed.
        in_use: Gives the files being written, which are left alone.
        now_s: Gives the time of day (s since 1970), or None while it may be wrong.
    """

    def __init__(
        self,
        folder: Path,
        retention: Retention,
        *,
        is_compressing: bool,
        in_use: Callable[[], Collection[Path]],
        now_s: Callable[[], float | None],
    ) -> None:
        self._folder = folder
        self._retention = retention
        self._is_compressing = is_compressing
        self._in_use = in_use
        self._now_s = now_s
        self._spared: list[str] = []
        self._closing = Event()
        self._thread = Thread(target=self._run, name="upkeep", daemon=True)

    def start(self) -> None:
        """Begin; the first turn comes at once."""
        self._thread.start()

    def close(self) -> None:
        """End after the file that is being worked on; does not wait for it."""
        self._closing.set()

    def turn(self) -> None:
        """Do all there is to do once; what the disk refuses is logged and tried again later.

        Deleting comes first: on a full disk there is no room to compress anything.
        """
        try:
            self._delete()
            if self._is_compressing:
                self._compress()
        except OSError as error:
            _LOG.warning("%s: the recordings cannot be looked after: %s", self._folder, error)

    def _delete(self) -> None:
        deleted, spared = delete_old(
            self._folder, self._retention, now_s=self._now_s(), in_use=self._in_use()
        )
        for name in deleted:
            _LOG.info("%s: %s deleted, as the station file wants it", self._folder, name)
        if spared != self._spared:
            self._spared = spared
            for name in spared:
                _LOG.warning(
                    "%s: %s stays, though old: nobody has looked at its alarms yet",
                    self._folder,
                    name,
                )

    def _compress(self) -> None:
        for session in sessions_in(self._folder):
            for file in session.files:
                if self._closing.is_set():
                    return
                if file.suffix != ".gz" and file not in self._in_use():
                    compress_file(file)

    def _run(self) -> None:
        while not self._closing.is_set():
            self.turn()
            self._closing.wait(EVERY_S)
