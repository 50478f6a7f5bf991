"""The outbox with its threads, a real link and a real broker that is killed."""

import json
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from linetender.annunciation.payloads import Wall
from linetender.core.alarm_table import AlarmState
from linetender.core.carryover import Carryover
from linetender.core.events import AlarmChanged
from linetender.core.stages import Priority
from linetender.runtime.broker_link import BrokerLink
from linetender.runtime.outbox import Outbox
from link_waiting import wait_for
from mosquitto_broker import MosquittoBroker

pytestmark = pytest.mark.broker

TOPIC = "linetender/bench/event"
HOUR_NS = 3_600_000_000_000


class Bench:
    """An outbox on a real link. What it has is sent while `open` is set."""

    def __init__(self, folder: Path, link: BrokerLink) -> None:
        self.link = link
        self.open = threading.Event()
        self.now_ns = 0
        self.box = Outbox(
            folder,
            TOPIC,
            "0a1b2c3d",
            "boot",
            link.publish,
            lambda: self.open.is_set() and link.state().connected,
            lambda: Wall("2000-01-01T00:00:00+00:00", True),
            now_ns=lambda: self.now_ns,
        )
        self.box.start()

    def happen(self, first: int, last: int) -> None:
        """Hand over events with these numbers, each with its state."""
        for n in range(first, last + 1):
            before, after = AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED
            made = AlarmChanged(0, n, "air_lost", before, after, Priority.HIGH)
            self.box.keep(Carryover({"journal": {"n": n}}), (made,))


@pytest.fixture
def bench(
    tmp_path: Path, mosquitto: MosquittoBroker, links: Callable[..., BrokerLink]
) -> Iterator[Bench]:
    link = links(mosquitto.port)
    link.start()
    made = Bench(tmp_path / "state", link)
    yield made
    made.box.close()


def told(broker: MosquittoBroker, bench: Bench, last: int) -> list[tuple[str, bool]]:
    """Let a witness listen, then let the outbox send up to a number: ids, and whether late."""
    with broker.watch(TOPIC) as witness:
        bench.open.set()
        witness.wait_for(TOPIC, f'"0a1b2c3d-{last}"')
        bench.open.clear()
        seen = [json.loads(one.payload) for one in witness.seen if one.topic == TOPIC]
    found = {one["id"]: one["late_s"] is not None for one in seen}
    return list(found.items())


def numbers(first: int, last: int, *, late: bool) -> list[tuple[str, bool]]:
    return [(f"0a1b2c3d-{n}", late) for n in range(first, last + 1)]


def test_a_broker_that_is_killed_gets_every_event_in_order_once_it_is_back(
    bench: Bench, mosquitto: MosquittoBroker
) -> None:
    mosquitto.start()
    bench.happen(1, 20)
    assert told(mosquitto, bench, 20) == numbers(1, 20, late=False)
    mosquitto.kill()
    wait_for(bench.link, lambda state: not state.connected)
    bench.happen(21, 60)
    bench.now_ns += HOUR_NS
    mosquitto.start()
    wait_for(bench.link, lambda state: state.connected)
    bench.happen(61, 62)
    seen = told(mosquitto, bench, 62)
    assert [one for one, _ in seen] == [one for one, _ in numbers(21, 62, late=True)]
    assert seen[:40] == numbers(21, 60, late=True)


def test_a_broker_that_stands_still_in_the_middle_loses_nothing(
    bench: Bench, mosquitto: MosquittoBroker
) -> None:
    mosquitto.start()
    wait_for(bench.link, lambda state: state.connected)
    bench.happen(1, 30)
    with mosquitto.watch(TOPIC) as witness:
        bench.open.set()
        witness.wait_for(TOPIC, '"0a1b2c3d-5"')
        mosquitto.freeze()
        bench.happen(31, 40)
        mosquitto.thaw()
        witness.wait_for(TOPIC, '"0a1b2c3d-40"')
        seen = [json.loads(one.payload)["id"] for one in witness.seen if one.topic == TOPIC]
    assert list(dict.fromkeys(seen)) == [one for one, _ in numbers(1, 40, late=False)]
