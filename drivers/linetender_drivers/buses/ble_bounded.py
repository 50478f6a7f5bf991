"""A call with a limit that holds even where the call ignores it.

bleak waits for the Bluetooth service without a limit of its own, and its clean-up can
swallow a cancellation: when the service hangs, `asyncio.timeout` around such a call
never ends. So each call is a task of its own, cancelled twice at most, then left behind.
"""

import asyncio
from collections.abc import Coroutine
from typing import Any, TypeVar

CANCEL_S = 0.3
"""How long a cancelled call may take to end (chosen; one that can end takes a few ms)."""
CANCELLATIONS = 2
"""The first may be swallowed by a clean-up that waits in its turn; the second ends that."""

T = TypeVar("T")

_left_behind: set[asyncio.Task[Any]] = set()
"""asyncio holds tasks by weak references only."""


async def bounded(call: Coroutine[Any, Any, T], limit_s: float) -> T:
    """Await a call for a limited time.

    When the caller is cancelled, the call is ended in the same way.

    Args:
        call: The coroutine; it runs as a task of its own.
        limit_s: Limit, s; ending a call that is over it takes up to 0.6 s more.

    Returns:
        What the call returns.

    Raises:
        TimeoutError: the call has not ended within its limit.
    """
    task = asyncio.ensure_future(call)
    try:
        await asyncio.wait({task}, timeout=limit_s)
        if task.done():
            return task.result()
    finally:
        if not task.done():
            await _end(task)
    raise TimeoutError(f"no answer within {limit_s:g} s")


async def _end(task: asyncio.Task[Any]) -> None:
    _left_behind.add(task)
    task.add_done_callback(_forget)
    for _ in range(CANCELLATIONS):
        task.cancel()
        await asyncio.wait({task}, timeout=CANCEL_S)
        if task.done():
            return


def _forget(task: asyncio.Task[Any]) -> None:
    _left_behind.discard(task)
    if not task.cancelled():
        task.exception()  # seen: it came too late for anybody to want it
