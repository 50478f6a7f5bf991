"""What systemd hears: ready once, alive only while everything moves, and a clean end."""

import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from linetender.runtime.progress import Progress
from linetender.runtime.service_manager import ServiceManager, service_manager, standing
from runtime.demo_sessions import ORDINARY, Hand, play


class Manager:
    """The socket that systemd would listen on."""

    def __init__(self, folder: Path) -> None:
        self.address = str(folder / "notify")
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK)
        self._socket.bind(self.address)

    def heard(self) -> list[str]:
        """Return the messages since the last call."""
        messages = []
        while True:
            try:
                messages.append(self._socket.recv(4096).decode())
            except BlockingIOError:
                return messages

    def close(self) -> None:
        self._socket.close()


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[Manager]:
    listening = Manager(tmp_path)
    yield listening
    listening.close()


def test_ready_once_and_alive_each_turn(manager: Manager) -> None:
    daemon = ServiceManager(manager.address)
    daemon.turn((), "idle; no alarm")
    daemon.turn((), "idle; no alarm")
    daemon.turn((), "worn; no alarm")
    daemon.stopping()
    assert manager.heard() == [
        "WATCHDOG=1\nREADY=1\nSTATUS=idle; no alarm",
        "WATCHDOG=1",
        "WATCHDOG=1\nSTATUS=worn; no alarm",
        "STOPPING=1",
    ]


def test_a_stalled_part_is_named_and_nothing_is_alive(manager: Manager) -> None:
    daemon = ServiceManager(manager.address)
    daemon.turn((), "worn; no alarm")
    daemon.turn(("core", "siren"), "worn; no alarm")
    daemon.turn(("core", "siren"), "worn; no alarm")
    daemon.stopping()
    assert manager.heard()[1:] == ["STATUS=core, siren stalled; worn; no alarm", "STOPPING=1"]


def test_a_manager_that_does_not_listen_holds_nobody_up(tmp_path: Path, manager: Manager) -> None:
    unheard = ServiceManager(str(tmp_path / "nobody"))
    unheard.turn((), "idle")
    unheard.stopping()
    daemon = ServiceManager(manager.address)
    for turn in range(10_000):  # far more than its queue takes
        daemon.turn((), str(turn))
    daemon.stopping()
    assert len(manager.heard()) < 10_000


def test_only_a_process_that_systemd_started_has_one(
    manager: Manager, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    assert service_manager() is None
    monkeypatch.setenv("NOTIFY_SOCKET", manager.address)
    started = service_manager()
    assert started is not None
    started.stopping()
    assert manager.heard() == ["STOPPING=1"]


def test_an_abstract_address(tmp_path: Path) -> None:
    name = f"linetender-test-{tmp_path.name}-{id(tmp_path)}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(f"\0{name}")
        ServiceManager(f"@{name}").stopping()
        assert listening.recv(100) == b"STOPPING=1"


def test_a_station_feeds_the_watchdog_each_second_and_says_how_it_stands(manager: Manager) -> None:
    heard: list[str] = []

    def look(_hand: Hand) -> None:
        heard.extend(manager.heard())

    deeds = (*ORDINARY, *((float(second), look) for second in range(11, 60)))
    deeds = (*deeds[:30], (39.5, Hand.fan_stop), *deeds[30:])
    played = play(deeds, 60.0, manager=ServiceManager(manager.address))
    heard += manager.heard()
    assert heard[0].startswith("WATCHDOG=1\nREADY=1\nSTATUS=idle; ")
    assert sum("WATCHDOG=1" in message for message in heard) in range(59, 63)
    assert [message for message in heard if "READY=1" in message] == heard[:1]
    assert heard[-1] == "STOPPING=1"
    assert any("STATUS=worn; air_lost" in message for message in heard)
    assert standing(played.snapshots[0]).startswith("idle; ")


def test_a_station_whose_part_stalls_lets_the_watchdog_bite(
    manager: Manager, monkeypatch: pytest.MonkeyPatch
) -> None:
    stalled = ("core",)
    monkeypatch.setattr(Progress, "stalled", lambda _self, _now_ns: stalled)
    play(ORDINARY, 20.0, manager=ServiceManager(manager.address))
    messages = manager.heard()
    assert "READY=1" in messages[0]
    assert not any("WATCHDOG=1" in message for message in messages)
    assert all("STATUS=core stalled; " in message for message in messages[:-1])
