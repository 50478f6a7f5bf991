"""The wire of a served world: whose time it is, what is refused, and who comes and goes."""

import json
import selectors
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from linetender_drivers.errors import DriverConfigError, DriverError, FailureReason
from linetender_drivers.simulated.world_link import WorldGone, WorldLink
from linetender_drivers.simulated.world_wire import (
    LONGEST_LINE,
    SOCKET_NAME,
    Answer,
    ClaimInput,
    ClaimOutput,
    Drive,
    Fault,
    GiveBack,
    Hello,
    Hold,
    Look,
    Pass,
    Press,
    Request,
    Stay,
    Transfer,
    Wait,
)
from served_world import S, World, served_world


@pytest.fixture(name="world")
def _world(tmp_path: Path) -> Iterator[World]:
    with served_world(tmp_path) as world:
        yield world


class Station:
    """A station that speaks the wire by hand."""

    def __init__(self, world: World, name: str = "station") -> None:
        self.link = WorldLink(world.at)
        world.guests.callback(self.link.close)
        self.heard: list[tuple[int, bool]] = []
        hello = self.ask(Hello(self.link.next_id(), name))
        assert hello.epoch is not None

    def ask(self, request: Request) -> Answer:
        return self.link.answer(request)

    def wait(self, until_s: float | None) -> int:
        """Begin to wait; return the number of the wait."""
        until_ns = None if until_s is None else round(until_s * S)
        request = Wait(self.link.next_id(), until_ns)
        self.link.expect(request)
        return request.id

    def passed(self, wait: int) -> float:
        """Return the instant (s) at which a wait ended."""
        while (answer := self.link.taken(wait)) is None:
            self.link.receive()
        assert isinstance(answer, Answer)
        return answer.now_ns / S

    def has_news(self) -> bool:
        with selectors.DefaultSelector() as selector:
            selector.register(self.link, selectors.EVENT_READ)
            return bool(selector.select(0))

    def input(self, gpio: int) -> bool | None:
        self.link.on_edge[gpio] = lambda high: self.heard.append((gpio, high))
        return self.ask(ClaimInput(self.link.next_id(), gpio, True)).high


def hand(world: World, request: Request) -> Answer:
    link = WorldLink(world.at)
    try:
        return link.answer(request)
    finally:
        link.close()


def now_s(world: World) -> float:
    return hand(world, Look(1)).now_ns / S


def test_time_moves_to_the_least_of_all_waits(world: World) -> None:
    first, second = Station(world, "first"), Station(world, "second")
    early = first.wait(10)
    assert (now_s(world), first.has_news()) == (0, False)
    late = second.wait(30)
    assert first.passed(early) == 10
    assert (now_s(world), second.has_news()) == (10, False)
    early = first.wait(40)
    assert second.passed(late) == 30
    assert (now_s(world), first.has_news()) == (30, False)
    second.link.close()
    assert first.passed(early) == 40


def test_time_stands_still_for_those_who_have_merely_nothing_to_do(world: World) -> None:
    station = Station(world)
    wait = station.wait(None)
    assert (now_s(world), station.has_news()) == (0, False)
    assert hand(world, Pass(1, 7.5)).now_ns == 7.5 * S
    station.link.send(Stay(station.link.next_id()))
    assert station.passed(wait) == 7.5


def test_a_wait_for_what_is_over_ends_at_once(world: World) -> None:
    station = Station(world)
    assert station.passed(station.wait(2)) == 2
    assert station.passed(station.wait(1)) == 2


def test_a_held_world_lets_only_hands_pass_time(world: World) -> None:
    hand(world, Hold(1, True))
    station = Station(world)
    wait = station.wait(5)
    assert (now_s(world), station.has_news()) == (0, False)
    assert hand(world, Pass(1, 2.0)).now_ns == 2 * S
    assert not station.has_news()
    hand(world, Hold(1, False))
    assert station.passed(wait) == 5


def test_a_press_is_an_edge_that_ends_a_wait(world: World) -> None:
    hand(world, Hold(1, True))
    station = Station(world)
    assert (station.input(17), station.input(27)) == (True, False)
    wait = station.wait(100)
    press = WorldLink(world.at)
    world.guests.callback(press.close)
    request = Press(1, "answer", 0.5)
    press.expect(request)
    ends = [station.passed(wait), station.passed(station.wait(100))]
    station.wait(100)
    while press.taken(request.id) is None:
        press.receive()
    while len(station.heard) < 4:
        station.link.receive()
    assert station.heard == [(27, True), (17, False), (17, True), (27, False)]
    assert ends == [0, 0.5]


def test_time_does_not_overtake_an_edge_that_is_still_under_way(world: World) -> None:
    hand(world, Hold(1, True))
    station = Station(world)
    station.input(17)
    press = WorldLink(world.at)
    world.guests.callback(press.close)
    press.expect(Press(1, "answer", 0.5))
    assert hand(world, Look(1)).now_ns == 0  # the press has begun; its edge was told
    before_edge = station.link.heard
    hasty = Wait(station.link.next_id(), 2 * S, before_edge)
    station.link.expect(hasty)
    assert (station.passed(hasty.id), station.heard) == (0, [(17, False)])
    patient = Wait(station.link.next_id(), 2 * S, station.link.heard)
    station.link.expect(patient)
    assert station.passed(patient.id) == 0.5
    assert station.heard == [(17, False), (17, True)]


def test_a_line_is_given_back_by_word_or_by_death(world: World) -> None:
    first, second = Station(world, "first"), Station(world, "second")
    number = first.link.next_id
    first.ask(ClaimOutput(number(), 22, False))
    first.ask(Drive(number(), 22, True))
    with pytest.raises(DriverConfigError, match="another device of the station has it"):
        second.ask(ClaimOutput(second.link.next_id(), 22, False))
    first.ask(GiveBack(number(), 22))
    second.ask(ClaimOutput(second.link.next_id(), 22, False))
    second.ask(Drive(second.link.next_id(), 22, True))
    second.link.close()
    third = Station(world, "third")
    assert world.look()["outputs"]["22"] == 1
    third.ask(ClaimOutput(third.link.next_id(), 22, False))
    assert [level for _, level in world.edges(22)] == [0, 1, 0, 1, 0]


def test_a_call_that_does_not_return_takes_simulated_time_only(world: World) -> None:
    hand(world, Fault(1, "bus_overdue"))
    station = Station(world)
    request = Transfer(station.link.next_id(), 0x25, b"\x36\x7c", 0)
    station.link.send(request)
    wait = station.wait(60)
    assert 0 < station.passed(wait) < 60
    hand(world, Fault(1, "bus_overdue", clear=True))
    with pytest.raises(DriverError) as failure:
        station.ask(Transfer(station.link.next_id(), 0x11, b"", 1))
    assert failure.value.reason is FailureReason.NACK


class Raw:
    """A client that says what it likes."""

    def __init__(self, world: World) -> None:
        self.socket = socket.socket(socket.AF_UNIX)
        self.socket.settimeout(20)
        self.socket.connect(str(world.at / SOCKET_NAME))
        self.lines = self.socket.makefile("rb")
        world.guests.callback(self.socket.close)
        world.guests.callback(self.lines.close)

    def say(self, line: bytes) -> dict[str, Any]:
        self.socket.sendall(line + b"\n")
        said: dict[str, Any] = json.loads(self.lines.readline())
        return said


HELLO = b'{"do":"hello","id":1,"name":"raw"}'

BAD = [
    (b"", "no request"),
    (b"hello", "no request"),
    (b"\xff\xfe", "no request"),
    (b"[" * 5_000, "no request"),
    (b'{"do":"fly","id":1}', "no request: Invalid value 'fly'"),
    (b'{"do":"wait"}', "no request: Object missing required field `id`"),
    (b'{"do":"wait","id":0}', "no request: Expected `int` >= 1"),
    (b'{"do":"wait","id":1,"until_ns":-1}', "no request: Expected `int` >= 0"),
    (b'{"do":"wait","id":1,"until_ns":1e400}', "no request"),
    (b'{"do":"look","id":1,"more":2}', "no request: Object contains unknown field `more`"),
    (b'{"do":"pass","id":1,"seconds":1e9}', "no request: Expected `float` <= 604800.0"),
    (b'{"do":"transfer","id":1,"address":200}', "no request: Expected `int` <= 127"),
    (b'{"do":"hello","id":1,"name":"x","v":2}', "no request: Invalid enum value 2"),
    (b'{"do":"wait","id":7,"until_ns":5}', "a station's first request is `hello`"),
    (b'{"do":"transfer","id":7,"address":37,"read_n":1}', "a station's first request is `hello`"),
    (b'{"do":"press","id":7,"contact":"bell"}', "no button is called 'bell'"),
    (b'{"do":"turn","id":7,"knob":"fan","to":2}', "fan of 2.0 is outside 0 to 1"),
]

BAD_OF_STATION = [
    (HELLO, "a station may not do this"),
    (b'{"do":"look","id":7}', "a station may not do this"),
    (b'{"do":"pass","id":7,"seconds":1}', "a station may not do this"),
    (b'{"do":"transfer","id":7,"address":37}', "writes or reads at least one byte"),
    (b'{"do":"drive","id":7,"gpio":5,"high":true}', "GPIO 5 is no output of this station"),
    (b'{"do":"give_back","id":7,"gpio":5}', "GPIO 5 was not claimed"),
    (b'{"do":"claim_input","id":7,"gpio":99,"pull_up":true}', "the header has GPIO 0 to 27 only"),
]


def test_what_is_no_request_is_refused_with_a_reason_and_hurts_nobody(world: World) -> None:
    raw = Raw(world)
    for line, why in BAD:
        said = raw.say(line)
        assert (said["is"], said["why"][: len(why)]) == ("refused", why), line
    assert raw.say(HELLO)["is"] == "answer"
    for line, why in BAD_OF_STATION:
        said = raw.say(line)
        assert said["is"] == "refused", line
        assert why in said["why"], line
    assert raw.say(b'{"do":"wait","id":8,"until_ns":1000000000}') == {
        "is": "answer",
        "id": 8,
        "now_ns": S,
    }


def test_a_line_without_end_ends_the_connection_and_no_other(world: World) -> None:
    raw = Raw(world)
    said = raw.say(b"x" * LONGEST_LINE)
    assert (said["is"], said["why"]) == ("refused", "a line is over 65536 bytes")
    assert raw.lines.readline() == b""
    assert now_s(world) == 0


def test_a_link_to_nowhere_says_how_to_begin(tmp_path: Path) -> None:
    with pytest.raises(WorldGone, match="linetender simulate practice --at"):
        WorldLink(tmp_path)
