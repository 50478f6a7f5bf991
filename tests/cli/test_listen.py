"""Listening to an oximeter: what is shown and saved, and the real library on a real D-Bus."""

import asyncio
import io
import json
import os
import signal
from collections.abc import Callable
from pathlib import Path

import pytest

from bluez.names import uuid
from bluez.peripheral import CONTINUOUS, PLX, Characteristic, oximeter
from bluez.room import HURRIED, PATIENT, Room, needs_dbus, play, until
from bluez.worn_oximeter import frame
from linetender.cli.listen import (
    Hearing,
    hear,
    listen,
    map_lines,
    notification_lines,
    offer_lines,
    short,
)
from linetender_drivers.buses.ble_listener import BleListener, Heard, Offer
from linetender_drivers.errors import DeviceNotFound, DriverConfigError, FailureReason
from linetender_drivers.oximeter.byte_changes import ByteChanges, changes_by_length, spans

MAKERS = "5a5a0001-0000-4000-8000-000000000000"
NUMBERS, WAVE = MAKERS.replace("0001", "0002", 1), MAKERS.replace("0001", "0003", 1)
OFFERS = (
    Offer(uuid(0x180F), uuid(0x2A19), ("read",)),
    Offer(MAKERS, NUMBERS, ("notify", "read")),
    Offer(MAKERS, WAVE, ("write",)),
)


class ScriptedListener:
    """Offers something, says some things, and is lost."""

    def __init__(self, offers: tuple[Offer, ...], *said: Heard) -> None:
        self.offers = offers
        self.said = list(said)
        self.is_closed = False
        self.subscribed: list[str] = []
        self.sent: list[tuple[str, bytes]] = []

    async def open(self) -> tuple[Offer, ...]:
        return self.offers

    async def subscribe(self, is_wanted: Callable[[Offer], bool]) -> None:
        self.subscribed = [
            each.characteristic for each in self.offers if each.sends and is_wanted(each)
        ]

    async def next(self) -> Heard:
        if not self.said:
            raise DeviceNotFound("clip", "lost")
        return self.said.pop(0)

    async def send(self, characteristic: str, octets: bytes) -> None:
        assert self.subscribed, "what the start command calls forth must be heard"
        self.sent.append((characteristic, octets))

    async def close(self) -> None:
        self.is_closed = True


def test_what_is_shown_and_saved() -> None:
    said = [bytes.fromhex(text) for text in ("aa 61", "aa 62", "aa", "aa 62")]
    listener = ScriptedListener(OFFERS, *[Heard(NUMBERS, each) for each in said])
    lines: list[str] = []
    file = io.StringIO()
    with pytest.raises(DeviceNotFound):
        asyncio.run(hear(Hearing(listener, lines.append, file)))
    assert listener.is_closed
    assert listener.subscribed == [NUMBERS]
    assert [line[9:] if line.startswith("     ") else line for line in lines] == [
        "service 0x180f",
        "    0x2a19                               read",
        f"service {MAKERS}",
        f"  a {NUMBERS} notify read",
        f"    {WAVE} write",
        "Seconds, letter, octets; * stands before one that is not as in the one before it.",
        " a aa 61",
        " a aa*62",
        " a aa",
        " a aa 62",
        f"a {NUMBERS}: 3 of 2 octets",
        "  byte      0  1",
        "  least    aa 61",
        "  most     aa 62",
        "  values    1  2",
        "  bits      . 03",
        "  never changed: 0",
        f"a {NUMBERS}: 1 of 1 octets",
        "  byte      0",
        "  least    aa",
        "  most     aa",
        "  values    1",
        "  bits      .",
    ]
    saved = [json.loads(line) for line in file.getvalue().splitlines()]
    assert [list(each) for each in saved] == [["t_ms", "hex"]] * 4
    assert [bytes.fromhex(each["hex"]) for each in saved] == said


@pytest.mark.parametrize("length", [0, 1, 20, 21, 100, 512])
def test_no_line_is_wider_than_80_columns(length: int) -> None:
    octets = bytes(range(256)) * 2
    lines = notification_lines(99_999_999, "a", octets[:length], bytes(length))
    lines += map_lines("a", NUMBERS, [octets[:length], bytes(length)])
    lines += offer_lines((Offer(MAKERS, NUMBERS, ("extended-properties",) * 9),), {NUMBERS: "a"})
    assert max(map(len, lines)) <= 80
    shown = "".join(lines[: 1 + max(0, length - 1) // 20]).replace("*", " ").split()
    assert [each for each in shown if len(each) == 2] == [f"{each:02x}" for each in octets[:length]]


@pytest.mark.parametrize(
    ("offers", "wanted", "is_saving", "told"),
    [
        (OFFERS[:1], None, False, "offers nothing sends"),
        (OFFERS, "2a19", False, "no characteristic 2a19 that sends"),
        ((*OFFERS, Offer(MAKERS, WAVE, ("indicate",))), None, True, "--characteristic"),
    ],
)
def test_what_cannot_be_heard_is_told(
    offers: tuple[Offer, ...], wanted: str | None, is_saving: bool, told: str
) -> None:
    listener = ScriptedListener(offers)
    file = io.StringIO() if is_saving else None
    with pytest.raises(DriverConfigError, match=told):
        asyncio.run(hear(Hearing(listener, lambda _: None, file, wanted)))
    assert listener.is_closed


def test_a_map_by_length_the_most_frequent_first() -> None:
    found = changes_by_length([b"a", b"ab", b"cb", b"ab"])
    assert [(each.count, each.bits, each.unchanged()) for each in found] == [
        (3, [0x02, 0x00], [1]),
        (1, [0x00], [0]),
    ]
    with pytest.raises(ValueError, match="zip"):
        found[0].add(b"abc")
    assert ByteChanges(3).rows() == []


@pytest.mark.parametrize(
    ("places", "written"),
    [([], ""), ([3], "3"), ([0, 1, 2, 3, 8], "0-3, 8"), ([0, 2, 3, 5, 6, 7], "0, 2-3, 5-7")],
)
def test_spans(places: list[int], written: str) -> None:
    assert spans(places) == written


def test_a_uuid_of_the_sig_is_shown_by_its_number() -> None:
    assert [short(uuid(0x2A5F)), short(MAKERS)] == ["0x2a5f", MAKERS]


class StoppedListener(ScriptedListener):
    """Says what it has to say; then somebody presses Ctrl-C."""

    async def next(self) -> Heard:
        if not self.said:
            os.kill(os.getpid(), signal.SIGINT)
            await asyncio.Event().wait()
        return self.said.pop(0)


def heard_by(monkeypatch: pytest.MonkeyPatch, listener: ScriptedListener, path: Path) -> list[str]:
    """Listen as the command line does; return the lines for people."""
    lines: list[str] = []
    monkeypatch.setattr("linetender.cli.listen.BleListener", lambda _address: listener)
    listen("c0:ff:ee:00:5a:5a", lines.append, save=path)
    return lines


def test_ctrl_c_ends_it_with_a_map_and_a_saved_file(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    path = tmp_path / "heard.jsonl"
    listener = StoppedListener(OFFERS, Heard(NUMBERS, b"\x01"), Heard(NUMBERS, b"\x02"))
    lines = heard_by(monkeypatch, listener, path)
    assert f"a {NUMBERS}: 2 of 1 octets" in lines
    assert "  never changed: none" in lines
    assert lines[-1].startswith(f"Saved in {path}.")
    assert listener.is_closed
    assert [json.loads(line)["hex"] for line in path.read_text().splitlines()] == ["01", "02"]


def test_a_lost_link_is_told_and_what_came_is_kept(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    path = tmp_path / "heard.jsonl"
    with pytest.raises(DeviceNotFound):
        heard_by(monkeypatch, ScriptedListener(OFFERS, Heard(NUMBERS, b"\x01")), path)
    assert len(path.read_text().splitlines()) == 1


def test_no_empty_file_is_left_and_no_file_is_overwritten(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    path = tmp_path / "heard.jsonl"
    with pytest.raises(DeviceNotFound):
        heard_by(monkeypatch, ScriptedListener(OFFERS), path)
    assert not path.exists()
    for before in ("", "what was heard before"):
        path.write_text(before)
        with pytest.raises(FileExistsError):
            heard_by(monkeypatch, ScriptedListener(OFFERS), path)
        assert path.read_text() == before


@pytest.mark.parametrize(
    "address", ["", "only", "simulated", "c0:ff:ee:00:5a", "C0-FF-EE-00-5A-5A"]
)
def test_what_is_no_address_is_told(address: str) -> None:
    with pytest.raises(DriverConfigError, match="no Bluetooth address"):
        listen(address, print)


def test_one_that_sends_when_it_is_told_to_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    listener = StoppedListener(OFFERS)
    monkeypatch.setattr("linetender.cli.listen.BleListener", lambda _address: listener)
    listen("C0:FF:EE:00:5A:5A", lambda _: None, start=f"{WAVE.upper()}= c9 35")
    assert listener.sent == [(WAVE, b"\xc9\x35")]
    with pytest.raises(DriverConfigError, match="as in"):
        listen("C0:FF:EE:00:5A:5A", lambda _: None, start=f"{WAVE}=8")


@needs_dbus
def test_an_oximeter_is_heard_on_a_real_bus(tmp_path: Path) -> None:
    lines: list[str] = []
    path = tmp_path / "heard.jsonl"

    def count() -> int:
        return len(path.read_text().splitlines())

    async def scene(room: Room) -> None:
        finger = room.peripherals[0]
        listener = BleListener(finger.address, PATIENT)
        with path.open("w") as file:
            hearing = asyncio.ensure_future(
                hear(Hearing(listener, lines.append, file, "2a5f", (WAVE, b"\x81")))
            )
            for number in range(5):
                octets = frame(number)
                await until(
                    lambda octets=octets: room.bluez.notify(finger, CONTINUOUS, octets), "it sends"
                )
                await until(lambda number=number: count() > number, "it is saved")
            room.bluez.drop(finger)
            with pytest.raises(DeviceNotFound):
                await hearing
        assert not finger.is_connected

    clip = oximeter()
    clip.services[PLX].append(Characteristic(WAVE, ("write",)))
    play(scene, clip)
    assert clip.characteristic(WAVE).written == [b"\x81"]
    saved = [json.loads(line)["hex"] for line in path.read_text().splitlines()]
    assert saved == [frame(number).hex() for number in range(5)]
    assert f"service {short(PLX)}" in lines
    assert "  a 0x2a5f                               notify" in lines
    assert "a 0x2a5f: 5 of 5 octets" in lines


@needs_dbus
def test_one_that_is_not_there_is_told() -> None:
    async def scene(room: Room) -> FailureReason:
        listener = BleListener("C0:FF:EE:00:00:00", HURRIED)
        with pytest.raises(DeviceNotFound) as error:
            await listener.open()
        return error.value.reason

    assert play(scene, oximeter()) is FailureReason.NOT_FOUND
