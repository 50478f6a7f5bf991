"""What the local socket does before it answers or tells: it looks up, and misses no event."""

import asyncio
import json
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from linetender.core.events import Demand, DemandChanged, Event
from linetender.core.snapshot import Snapshot
from linetender.core.stages import Stage
from linetender.runtime.control_socket import ControlSocket

NOW = Snapshot(0, Stage.IDLE, 0, (), (), Demand(), False, None)
OLD, NEW = "2031-01-01T00:00:00+00:00", "2032-01-01T00:00:00+00:00"


class Station:
    """Takes no wish."""

    def snapshot(self) -> Snapshot:
        return NOW


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder whose path is short: a socket's may have 107 bytes."""
    with TemporaryDirectory(prefix="lt-") as made:
        yield Path(made)


def test_what_has_to_be_looked_up_for_a_status_is_waited_for(folder: Path) -> None:
    async def status() -> str:
        control = ControlSocket(folder, "bench", str)
        dues = [OLD]

        async def look() -> None:
            await asyncio.sleep(0)
            dues[0] = NEW

        control.filter_due = lambda: dues[0]
        control.until_known = look
        async with control.serving(Station()):  # type: ignore[arg-type]
            reader, writer = await asyncio.open_unix_connection(control.path)
            writer.write(b'{"id": 1, "verb": "status"}\n')
            async with asyncio.timeout(10):
                answer = json.loads(await reader.readuntil(b"\n"))
            writer.transport.abort()
            await asyncio.sleep(0)
        due: str = answer["result"]["filter_due"]
        return due

    assert asyncio.run(status()) == NEW


def test_a_line_is_made_of_each_event_whoever_watches(folder: Path) -> None:
    """What is news depends on what came before."""
    made: list[Event] = []
    control = ControlSocket(folder, "bench", made.append)
    events = (DemandChanged(1, Demand()), DemandChanged(2, Demand()))
    control.tell(events, NOW)
    assert made == list(events)
