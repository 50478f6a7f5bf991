"""The progress bar of verbs that read recordings."""

import time

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn

from linetender.cli.plain_output import is_plain

SAY_EACH_PERCENT = 25
"""Plainly told, work says how far it is so often (chosen)."""

BAR_AFTER_S = 1.0
"""Work that takes longer than this gets a progress bar."""


class ReplayBar:
    """A progress bar on stderr that shows itself only when the work is long.

    Args:
        doing: What is being done, in a word.
    """

    def __init__(self, doing: str = "Replaying") -> None:
        self._doing = doing
        self._console = Console(stderr=True)
        self._progress = Progress(
            TextColumn(doing),
            BarColumn(),
            TaskProgressColumn(),
            console=self._console,
            transient=True,
        )
        self._said_percent = 0
        self._task = self._progress.add_task(doing, total=None)
        self._show_at_s = time.monotonic() + BAR_AFTER_S

    def __enter__(self) -> "ReplayBar":
        return self

    def __exit__(self, *failure: object) -> None:
        if self._progress.live.is_started:  # stopping one that never was prints a blank line
            self._progress.stop()

    def told(self, bytes_read: int, size_bytes: int) -> None:
        """Show how far the reader has come."""
        if not self._console.is_terminal or time.monotonic() < self._show_at_s:
            return
        if is_plain():
            self._say(bytes_read, size_bytes)
        else:
            self._progress.start()
            self._progress.update(self._task, total=size_bytes, completed=bytes_read)

    def _say(self, bytes_read: int, size_bytes: int) -> None:
        """Print a line at each quarter."""
        percent = 100 * bytes_read // max(1, size_bytes) // SAY_EACH_PERCENT * SAY_EACH_PERCENT
        if percent > self._said_percent:
            self._said_percent = percent
            self._console.print(f"{self._doing}, {percent} %.", highlight=False)
