"""Waiting for the edge of a digital line, without losing one in between."""

import asyncio


async def wait_bounded(changed: asyncio.Event, timeout_s: float) -> None:
    """Wait until an event is set, or for a time (s), and clear it.

    An edge between two calls is not lost: the event stays set until the next call.
    """
    try:
        async with asyncio.timeout(timeout_s):
            await changed.wait()
    except TimeoutError:
        return
    changed.clear()
