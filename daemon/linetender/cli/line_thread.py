"""Lines to a terminal, pipe or journal that may stop taking them: the watching never waits.

A terminal on hold (Ctrl-S), a full pipe or a journal that restarts would otherwise hold
up the loop in the middle of an alarm, or end it with a broken pipe.
"""

import logging
import os
import threading
from collections import deque

LINES_WAITING = 1000
"""The oldest are given up beyond this (chosen: far more than one session says)."""


class LineThread:
    """Writes lines to a file descriptor from a thread of its own.

    Args:
        descriptor: An open file; it stays open.
    """

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor
        self._waiting: deque[str] = deque(maxlen=LINES_WAITING)
        self._changed = threading.Condition()
        self._closing = False
        self._thread = threading.Thread(target=self._run, name="lines", daemon=True)
        self._thread.start()

    def put(self, line: str) -> None:
        """Hand over a line, without its line break; returns at once and never raises."""
        with self._changed:
            self._waiting.append(line)
            self._changed.notify()

    def close(self, within_s: float = 1.0) -> None:
        """Write what waits, `within_s` at most: a stopped terminal does not hold up the end."""
        with self._changed:
            self._closing = True
            self._changed.notify()
        self._thread.join(within_s)

    def _run(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._waiting or self._closing)
                if not self._waiting:
                    return
                line = self._waiting.popleft()
            try:
                self._write(f"{line}\n".encode(errors="replace"))
            except OSError:
                continue  # nobody reads; the next line may find a reader again

    def _write(self, data: bytes) -> None:
        # Not through sys.stdout: its lock, held by a stuck write, would stop the exit.
        rest = memoryview(data)
        while rest:
            rest = rest[os.write(self._descriptor, rest) :]


class LineHandler(logging.Handler):
    """Hands log records to a `LineThread`."""

    def __init__(self, lines: LineThread) -> None:
        super().__init__()
        self._lines = lines

    def emit(self, record: logging.LogRecord) -> None:
        """Format a record and hand it over."""
        self._lines.put(self.format(record))
