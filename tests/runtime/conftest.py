"""Fixtures for the live process."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from linetender.runtime.broker_link import BrokerLink
from linetender.settings.station_file import BrokerSettings
from mosquitto_broker import mosquitto, witness

__all__ = ["links", "mosquitto", "witness"]


class CountingClock:
    """A clock that never stands still, so that an instant tells itself from another."""

    def __init__(self) -> None:
        self._now_ns = 0

    def now_ns(self) -> int:
        self._now_ns += 1
        return self._now_ns

    async def sleep(self, seconds: float) -> None:
        raise AssertionError("the link does not sleep by this clock")


@pytest.fixture
def links() -> Iterator[Callable[..., BrokerLink]]:
    """A function that makes a link of the station `bench` to a port; all are stopped after."""
    made: list[BrokerLink] = []

    def make(
        port: int,
        *,
        host: str = "127.0.0.1",
        capacity: int = 1000,
        folder: Path = Path(),
        **more: Any,
    ) -> BrokerLink:
        settings = BrokerSettings(host=host, port=port, **more)
        link = BrokerLink(settings, "bench", CountingClock(), folder=folder, capacity=capacity)
        made.append(link)
        return link

    yield make
    for link in made:
        link.stop(0.5)
