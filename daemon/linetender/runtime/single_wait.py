"""An event for one task alone, at little cost."""

import asyncio


class SingleWait:
    """As `asyncio.Event`, but only one task ever waits for it, again and again.

    The core's loop waits so for each reading. For one event loop; not for threads.
    """

    def __init__(self) -> None:
        self._is_set = False
        self._loop: asyncio.AbstractEventLoop | None = None
        self._waiting: asyncio.Future[None] | None = None

    def set(self) -> None:
        """Let the task go on, now or when it comes to wait."""
        self._is_set = True
        waiting = self._waiting
        if waiting is not None and not waiting.done():
            waiting.set_result(None)

    def clear(self) -> None:
        """Let the next wait last until it is set again."""
        self._is_set = False

    async def wait(self) -> None:
        """Wait until it is set; at once if it is.

        Raises:
            RuntimeError: a task waits already.
        """
        if self._is_set:
            return
        if self._waiting is not None:
            raise RuntimeError("a task waits already, and only one may")
        if self._loop is None:
            self._loop = asyncio.get_running_loop()
        self._waiting = self._loop.create_future()
        try:
            await self._waiting
        finally:
            self._waiting = None
