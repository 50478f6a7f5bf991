"""The link to the broker against a real mosquitto, seen by an independent client."""

import json
import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from linetender.annunciation.payloads import Wall
from linetender.core.alarm_table import AlarmState
from linetender.core.events import AlarmChanged, Demand
from linetender.core.plan import Arrangement, Below, Plan, RulePlan
from linetender.core.signals import Signal
from linetender.core.snapshot import Snapshot
from linetender.core.stages import Priority, Stage
from linetender.runtime.broker import IN_FLIGHT
from linetender.runtime.broker_link import BrokerLink
from linetender.runtime.broker_login import BrokerSettingsError
from linetender.runtime.telling import Teller
from link_waiting import wait_for
from mosquitto_broker import PASSWORD, PATIENCE_S, MosquittoBroker, Seen, Witness

pytestmark = pytest.mark.broker

WALL = Wall("2031-01-02T03:04:05+00:00", True)
STATE = "linetender/bench/state"
ONLINE = "linetender/bench/online"


def condition() -> Below:
    return Below(Signal.AIR_PERCENT_OF_BASELINE, 65.0)


RULE = RulePlan("air_lost", condition(), Priority.HIGH, 0, 0, (Stage.WORN,), say="Air lost. Leave.")
PLAN = Plan("bench", Arrangement.WEARER_SIDE, None, (), (), (RULE,))
NOW = Snapshot(0, Stage.WORN, 1, (), (), Demand(), False, None)
RAISED = AlarmChanged(0, 1, "air_lost", AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED, Priority.HIGH)


def test_a_witness_sees_what_the_station_tells_and_offline_after_a_clean_stop(
    mosquitto: MosquittoBroker, witness: Witness, links: Callable[..., BrokerLink]
) -> None:
    link = links(mosquitto.port)
    link.start()
    assert witness.wait_for(ONLINE) == Seen(ONLINE, False, 1, "online")
    teller = Teller(PLAN, "0a1b2c3d", link.publish)
    teller.begin(NOW, WALL)
    teller.events((RAISED,), NOW, WALL)
    teller.tick(0, NOW, WALL)
    told = [
        witness.wait_for("linetender/bench/alarm/air_lost", "unacknowledged"),
        witness.wait_for("linetender/bench/event", "0a1b2c3d-1"),
        witness.wait_for("linetender/bench/say"),
        witness.wait_for(STATE),
        witness.wait_for("linetender/bench/alive"),
    ]
    assert [seen.qos for seen in told] == [1, 1, 1, 1, 0]
    assert json.loads(told[0].payload)["priority"] == "high"
    assert told[2].payload.startswith("LEAVE: Air lost.")

    with mosquitto.watch() as late:
        kept = [
            late.wait_for(ONLINE, "online"),
            late.wait_for(STATE, "worn"),
            late.wait_for("linetender/bench/alarm/air_lost", "unacknowledged"),
        ]
    assert all(seen.retained for seen in kept)
    passing = {"linetender/bench/event", "linetender/bench/say", "linetender/bench/alive"}
    assert not passing & {seen.topic for seen in late.seen}

    assert link.stop() is True
    assert witness.wait_for(ONLINE, "offline").qos == 1
    state = link.state()
    assert (state.refused, state.dropped, state.faults, state.waiting) == (0, 0, 0, 0)
    assert state.last_confirmed_ns is not None


STATION = """
import sys
import threading
import time

from linetender.runtime.broker_link import BrokerLink
from linetender.settings.station_file import BrokerSettings


class Monotonic:
    def now_ns(self):
        return time.monotonic_ns()

link = BrokerLink(BrokerSettings(host="127.0.0.1", port=int(sys.argv[1])), "bench", Monotonic())
link.start()
link.publish("linetender/bench/state", b"worn", qos=1, retain=True)
threading.Event().wait()
"""


def test_the_will_says_offline_after_kill_9(mosquitto: MosquittoBroker, witness: Witness) -> None:
    station = subprocess.Popen([sys.executable, "-c", STATION, str(mosquitto.port)])
    try:
        witness.wait_for(STATE, "worn")
    finally:
        os.kill(station.pid, signal.SIGKILL)
        station.wait(PATIENCE_S)
    assert witness.wait_for(ONLINE, "offline").qos == 1
    with mosquitto.watch() as late:
        assert late.wait_for(ONLINE) == Seen(ONLINE, True, 1, "offline")


def test_a_broker_that_comes_later_gets_the_newest_state_and_the_events_that_waited(
    mosquitto: MosquittoBroker, links: Callable[..., BrokerLink]
) -> None:
    link = links(mosquitto.port)
    link.start()
    link.publish(STATE, b"old", qos=1, retain=True)
    link.publish("linetender/bench/event", b"first", qos=1)
    link.publish("linetender/bench/alive", b"a heartbeat of the past")
    link.publish(STATE, b"new", qos=1, retain=True)
    wait_for(link, lambda state: state.refusal.startswith("no broker answers"))
    mosquitto.start()
    with mosquitto.watch() as witness:
        witness.wait_for(STATE, "new")
        assert not [seen for seen in witness.seen if seen.payload == "old"]
        assert not [seen for seen in witness.seen if seen.topic == "linetender/bench/alive"]
    # online, state and the event that had waited
    wait_for(link, lambda state: state.confirmed == 3 and not state.waiting)


def test_a_broker_that_lost_everything_is_told_again(
    mosquitto: MosquittoBroker, links: Callable[..., BrokerLink]
) -> None:
    mosquitto.start()
    link = links(mosquitto.port)
    link.start()
    link.publish(STATE, b"worn", qos=1, retain=True)
    wait_for(link, lambda state: state.confirmed == 2)
    mosquitto.kill()
    wait_for(link, lambda state: not state.connected)
    link.publish("linetender/bench/event", b"in between", qos=1)
    mosquitto.start()
    with mosquitto.watch() as witness:
        assert witness.wait_for(ONLINE).payload == "online"
        assert witness.wait_for(STATE).payload == "worn"
    assert wait_for(link, lambda state: state.confirmed == 5).connects == 2


def test_the_newest_state_is_what_a_broker_that_comes_back_keeps(
    mosquitto: MosquittoBroker, links: Callable[..., BrokerLink]
) -> None:
    mosquitto.start()
    link = links(mosquitto.port)
    link.start()
    wait_for(link, lambda state: state.connected)
    for number in range(200):
        link.publish(STATE, str(number).encode(), qos=1, retain=True)
        if number == 100:
            mosquitto.kill()
    mosquitto.start()
    wait_for(link, lambda state: state.connected and not state.waiting + state.unconfirmed)
    with mosquitto.watch(STATE) as late:
        assert late.wait_for(STATE, retained=True).payload == "199"


def test_a_refused_publish_is_counted_and_named(
    tmp_path: Path, links: Callable[..., BrokerLink]
) -> None:
    (tmp_path / "acl").write_text("user bench\ntopic write linetender/bench/online\n")
    (tmp_path / "secret").write_text(f"{PASSWORD}\n")
    broker = MosquittoBroker(
        tmp_path, login_lines(tmp_path) + f"acl_file {tmp_path / 'acl'}\n", ("bench",)
    )
    try:
        broker.start()
        link = links(broker.port, folder=tmp_path, user="bench", password_file="secret")
        link.start()
        link.publish(STATE, b"worn", qos=1, retain=True)
        state = wait_for(link, lambda state: state.refused == 1)
        assert "Not authorized" in state.refusal
        assert STATE in state.refusal
        assert link.stop() is True
    finally:
        broker.stop()


def test_a_wrong_password_is_told_and_tried_on(
    tmp_path: Path, links: Callable[..., BrokerLink]
) -> None:
    (tmp_path / "secret").write_text("wrong\n")
    broker = MosquittoBroker(tmp_path, login_lines(tmp_path), ("bench",))
    try:
        broker.start()
        link = links(broker.port, folder=tmp_path, user="bench", password_file="secret")
        link.start()
        state = wait_for(link, lambda state: "refuses the connection" in state.refusal)
        assert (state.connected, state.faults) == (False, 0)
        assert link.stop(0.5) is False
    finally:
        broker.stop()


def login_lines(folder: Path) -> str:
    return f"allow_anonymous false\npassword_file {folder / 'linetender.passwords'}\n"


@pytest.fixture
def silent_broker() -> Iterator[int]:
    """A port that takes connections and never answers."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield server.getsockname()[1]


def test_a_silent_broker_holds_up_nobody_and_the_oldest_go(
    silent_broker: int, links: Callable[..., BrokerLink]
) -> None:
    link = links(silent_broker, capacity=50)
    link.start()
    for number in range(10_000):
        link.publish("linetender/bench/event", str(number).encode(), qos=1)
        link.publish(STATE, str(number).encode(), qos=1, retain=True)
    state = link.state()
    assert (state.dropped, state.waiting, state.connected) == (9_950, 52, False)
    assert link.stop(0.5) is False


def test_a_broker_that_hangs_holds_up_nobody_and_still_says_offline_in_the_end(
    mosquitto: MosquittoBroker, links: Callable[..., BrokerLink]
) -> None:
    mosquitto.start()
    link = links(mosquitto.port)
    link.start()
    wait_for(link, lambda state: state.confirmed == 1)
    mosquitto.freeze()
    for number in range(100):
        link.publish("linetender/bench/event", str(number).encode(), qos=1)
    state = wait_for(link, lambda state: state.unconfirmed == IN_FLIGHT)
    assert (state.waiting, state.confirmed) == (100 - IN_FLIGHT, 1)
    assert link.stop(0.5) is False
    mosquitto.thaw()
    with mosquitto.watch() as late:
        assert late.wait_for(ONLINE, "offline").qos == 1


def test_a_resolver_that_hangs_holds_up_nobody(
    links: Callable[..., BrokerLink], monkeypatch: pytest.MonkeyPatch
) -> None:
    asked, release = threading.Event(), threading.Event()

    def hang(*_: object, **__: object) -> None:
        asked.set()
        release.wait()
        raise OSError("no such name")

    monkeypatch.setattr(socket, "getaddrinfo", hang)
    link = links(1883)
    link.start()
    assert asked.wait(PATIENCE_S)
    link.publish(STATE, b"worn", qos=1, retain=True)
    assert link.state().waiting == 2
    assert link.stop(0.5) is False
    assert not release.is_set()
    release.set()


def test_stopping_a_link_that_was_never_started_is_no_error(
    links: Callable[..., BrokerLink],
) -> None:
    assert links(1883).stop() is False


@pytest.mark.parametrize(
    ("content", "message"),
    [(None, "cannot be read"), (b"\n", "first line"), (b"\xff\xfe", "cannot be read")],
)
def test_a_password_that_cannot_be_had_is_said(
    tmp_path: Path, content: bytes | None, message: str, links: Callable[..., BrokerLink]
) -> None:
    if content is not None:
        (tmp_path / "secret").write_bytes(content)
    with pytest.raises(BrokerSettingsError, match=message):
        links(1883, folder=tmp_path, user="bench", password_file="secret")


def test_a_host_that_is_no_name_is_said(links: Callable[..., BrokerLink]) -> None:
    with pytest.raises(BrokerSettingsError, match="no possible name"):
        links(1883, host="a" * 64)
