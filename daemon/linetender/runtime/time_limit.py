"""A time limit for what one task awaits again and again, at little cost."""

import asyncio
from types import TracebackType

_CLOSE_S = 1e-6
"""A timer may run a little early, by the clock's resolution: that is no reason for another."""


class TimeLimit:
    """As `asyncio.timeout`, but entered many times: its timer is moved, not made anew.

    A device is read many times a second, and hardly ever is one late. One timer looks
    now and then whether the limit of the present read has been reached.

    For one task, and not nested. A plain `with` enters it: there is nothing to await. Leaving
    the block raises TimeoutError where the limit was reached within it.
    """

    def __init__(self) -> None:
        self._seconds = 0.0
        self._loop: asyncio.AbstractEventLoop | None = None
        self._task: asyncio.Task[object] | None = None
        self._due_s = 0.0
        self._reached = False
        self._cancelling = 0
        self._timer: asyncio.TimerHandle | None = None

    def of(self, seconds: float) -> "TimeLimit":
        """Set the limit of the next block (s)."""
        self._seconds = seconds
        return self

    def __enter__(self) -> None:
        loop = self._loop
        if loop is None:
            # Asked for once: on Python 3.11 that is a call of the system each time.
            loop = self._loop = asyncio.get_running_loop()
        task = asyncio.current_task(loop)
        if task is None:
            raise RuntimeError("a time limit needs a task that it can interrupt")
        self._task = task
        self._cancelling = task.cancelling()
        self._reached = False
        self._due_s = loop.time() + self._seconds
        if self._timer is not None and self._due_s < self._timer.when():
            self._timer.cancel()
            self._timer = None
        if self._timer is None:
            self._timer = loop.call_at(self._due_s, self._look, loop)

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        task, self._task = self._task, None
        if task is None or not self._reached:
            return
        if task.uncancel() <= self._cancelling and kind is asyncio.CancelledError:
            raise TimeoutError from error

    def stop(self) -> None:
        """Look no more."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _look(self, loop: asyncio.AbstractEventLoop) -> None:
        self._timer = None
        if self._task is None or self._reached:
            return
        if loop.time() + _CLOSE_S < self._due_s:
            self._timer = loop.call_at(self._due_s, self._look, loop)
        else:
            self._reached = True
            self._task.cancel()
