"""The oximeter with described packets: scripted octets in virtual time, and a real D-Bus."""

import asyncio
from types import SimpleNamespace
from typing import Any

import pytest

from bluez.names import Refusal
from bluez.peripheral import Characteristic, Peripheral
from bluez.room import Room, needs_dbus, play
from drivers.packet_files import (
    FINGER_OUT,
    FRAMED,
    LOW_SIGNAL,
    PLAIN,
    framed,
    framed_frame,
)
from linetender_drivers.errors import (
    BadFrame,
    DeviceTimeout,
    DriverConfigError,
    DriverError,
    FailureReason,
)
from linetender_drivers.measurements import Measurement
from linetender_drivers.oximeter.packet import PacketOximeter, open_packet_oximeter
from linetender_drivers.oximeter.packet_decode import decode_packet
from linetender_drivers.oximeter.packet_spec import PacketOptions
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

ADDRESS = "C0:FF:EE:00:5A:5A"
ALL = ("spo2_percent", "pulse_rate_bpm", "oximeter_battery_percent")
BATTERY = Measurement("oximeter_battery_percent", 66.6)


class ScriptedLink:
    """Gives notifications one after another; then none comes any more."""

    def __init__(self, *notifications: bytes) -> None:
        self.notifications = list(notifications)
        self.sent: list[tuple[str, bytes]] = []
        self.is_open = False

    async def open(self) -> None:
        self.is_open = True

    async def next(self) -> bytes:
        if not self.notifications:
            await asyncio.Event().wait()
        return self.notifications.pop(0)

    async def send(self, characteristic: str, octets: bytes) -> None:
        self.sent.append((characteristic, octets))

    async def close(self) -> None:
        self.is_open = False


def oximeter(link: Any, description: object = FRAMED, *signals: str) -> PacketOximeter:
    machine: Any = SimpleNamespace(clock=VirtualClock(), notifications=lambda *_: link)
    options = PacketOptions(address=ADDRESS, description=str(description))
    return open_packet_oximeter("finger", options, machine, signals or ALL)


def read_all(
    link: ScriptedLink, times: int, description: object = FRAMED, *signals: str
) -> list[tuple[Measurement, ...]]:
    async def scene() -> list[tuple[Measurement, ...]]:
        sensor = oximeter(link, description, *signals)
        await sensor.open()
        got = [await sensor.read() for _ in range(times)]
        await sensor.close()
        return got

    return run_virtual(scene())


def none(reason: str, *signals: str) -> tuple[Measurement, ...]:
    return tuple(Measurement(signal, reason=reason) for signal in signals)


FRAMES = {
    "good": (
        framed_frame(97, 72),
        (Measurement("spo2_percent", 97.0), Measurement("pulse_rate_bpm", 72.0), BATTERY),
    ),
    "a pulse of more than seven bits": (
        framed_frame(97, 200),
        (Measurement("spo2_percent", 97.0), Measurement("pulse_rate_bpm", 200.0), BATTERY),
    ),
    "finger out: the numbers are old": (
        framed_frame(97, 72, flags=FINGER_OUT),
        (*none("finger_out", "spo2_percent", "pulse_rate_bpm"), BATTERY),
    ),
    "low signal: the numbers are doubtful": (
        framed_frame(97, 72, flags=LOW_SIGNAL),
        (
            Measurement("spo2_percent", 97.0, doubt="poor_signal"),
            Measurement("pulse_rate_bpm", 72.0, doubt="poor_signal"),
            BATTERY,
        ),
    ),
    "no value": (
        framed_frame(255, 255),
        (*none("no_value", "spo2_percent", "pulse_rate_bpm"), BATTERY),
    ),
    "implausible": (
        framed_frame(101, 19),
        (*none("out_of_range", "spo2_percent", "pulse_rate_bpm"), BATTERY),
    ),
    "an SpO2 of nothing": (
        framed_frame(0, 72),
        (*none("out_of_range", "spo2_percent"), Measurement("pulse_rate_bpm", 72.0), BATTERY),
    ),
}


@pytest.mark.parametrize("case", FRAMES)
def test_what_a_frame_says(case: str) -> None:
    frame, made = FRAMES[case]
    assert read_all(ScriptedLink(frame), 1) == [made]


def test_a_frame_in_two_and_two_in_one_and_other_kinds_between() -> None:
    first, second, third = framed_frame(97, 60), framed_frame(96, 61), framed_frame(95, 62)
    waveform = framed_frame(40, 1, kind=2)
    link = ScriptedLink(first[:4], first[4:] + waveform + second, waveform, third)
    got = read_all(link, 3, FRAMED, "spo2_percent")
    assert got == [(Measurement("spo2_percent", value),) for value in (97.0, 96.0, 95.0)]


def test_the_plain_example() -> None:
    link = ScriptedLink(bytes([0, 0xCD, 0x03, 72, 25, 0]), bytes([0, 0xFF, 0x03, 0, 0, 0]))
    signals = ("spo2_percent", "pulse_rate_bpm", "pulse_amplitude_index_percent")
    first, second = read_all(link, 2, PLAIN, *signals)
    assert [(one.signal, one.value) for one in first] == [
        ("spo2_percent", pytest.approx(97.3)),
        ("pulse_rate_bpm", 72.0),
        ("pulse_amplitude_index_percent", pytest.approx(2.5)),
    ]
    assert second == (
        *none("no_value", "spo2_percent", "pulse_rate_bpm"),
        Measurement("pulse_amplitude_index_percent", 0.0),
    )


def test_octets_that_do_not_fit_the_description_are_a_bad_frame() -> None:
    async def scene() -> list[FailureReason]:
        broken = framed_frame(97, 72)[:-1] + b"\x00"
        link = ScriptedLink(broken, framed_frame(96, 72))
        sensor = oximeter(link)
        await sensor.open()
        with pytest.raises(BadFrame) as crc:
            await sensor.read()
        assert (await sensor.read())[0] == Measurement("spo2_percent", 96.0)
        plain = oximeter(ScriptedLink(b"\x00\x61\x00"), PLAIN)
        await plain.open()
        with pytest.raises(BadFrame) as short:
            await plain.read()
        return [crc.value.reason, short.value.reason]

    assert run_virtual(scene()) == [FailureReason.BAD_CRC, FailureReason.BAD_FRAME]


def test_a_frame_shorter_than_its_fields_is_a_bad_frame() -> None:
    with pytest.raises(BadFrame, match="6 octets are too few"):
        decode_packet("finger", framed(), bytes.fromhex("c935062d0061"))


def test_noise_without_frames_is_silence_in_time_until_the_link_is_made_anew() -> None:
    async def scene() -> tuple[float, float]:
        loop = asyncio.get_running_loop()
        link = ScriptedLink(b"\x00" * 20, b"\x01\x02", framed_frame(40, 1, kind=2))
        sensor = oximeter(link)
        await sensor.open()
        started_s = loop.time()
        with pytest.raises(DeviceTimeout, match="no frame as described for 8 s"):
            await sensor.read()
        waited_s = loop.time() - started_s
        with pytest.raises(DeviceTimeout):
            await sensor.read()
        at_once_s = loop.time() - started_s - waited_s
        assert waited_s < sensor.read_deadline_s
        await sensor.close()
        with pytest.raises(DriverError) as closed:
            await sensor.read()
        assert closed.value.reason is FailureReason.CLOSED
        return waited_s, at_once_s

    assert run_virtual(scene()) == (8.0, 0.0)


def test_what_was_left_of_an_old_link_is_not_joined_with_a_new_one() -> None:
    async def scene() -> Measurement:
        first, second = framed_frame(97, 60), framed_frame(88, 60, flags=LOW_SIGNAL)
        link = ScriptedLink(first, first[:5])
        sensor = oximeter(link)
        await sensor.open()
        await sensor.read()
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(sensor.read(), 1.0)
        await sensor.close()
        link.notifications = [second[5:], second]
        await sensor.open()
        return (await sensor.read())[0]

    assert run_virtual(scene()) == Measurement("spo2_percent", 88.0, doubt="poor_signal")


def test_the_start_command_is_sent_where_there_is_one() -> None:
    link, plain = ScriptedLink(framed_frame(97, 60)), ScriptedLink(bytes([0, 97, 3, 60, 0, 0]))
    read_all(link, 1)
    read_all(plain, 1, PLAIN)
    start = ("5a5a0003-0000-4000-8000-000000000000", bytes.fromhex("c9350510"))
    assert (link.sent, plain.sent) == ([start], [])


def test_a_description_that_went_bad_after_the_check_is_refused(tmp_path: Any) -> None:
    path = tmp_path / "packets.toml"
    path.write_text(PLAIN.read_text(encoding="utf-8"), encoding="utf-8")
    options = PacketOptions(address="only", description=str(path))
    path.write_text("name = 1", encoding="utf-8")
    with pytest.raises(DriverConfigError, match=r"packets\.toml: name = 1"):
        open_packet_oximeter("finger", options, SimpleNamespace(), ALL)  # type: ignore[arg-type]


def clip() -> Peripheral:
    """An oximeter in the framed layout, on the emulated radio."""
    described = framed()
    assert described.start is not None
    services = {
        described.service: [
            Characteristic(described.characteristic, ("notify",)),
            Characteristic(described.start.characteristic, ("write",)),
        ]
    }
    return Peripheral(ADDRESS, "invented clip", services, advertised=(described.service,))


@needs_dbus
@pytest.mark.parametrize("address", [ADDRESS, "only"])
def test_over_the_real_radio(address: str) -> None:
    mine = clip()

    async def scene(room: Room) -> tuple[Measurement, ...]:
        options = PacketOptions(address=address, description=str(FRAMED))
        machine: Any = room.machine
        sensor = open_packet_oximeter("finger", options, machine, ALL)
        await sensor.open()
        sending, start = mine.services[framed().service]
        assert start.written == [bytes.fromhex("c9350510")]
        frame = framed_frame(97, 72)
        room.bluez.notify(mine, sending.uuid, frame[:3])
        room.bluez.notify(mine, sending.uuid, frame[3:])
        got = await sensor.read()
        await sensor.close()
        assert not mine.is_connected
        return got

    assert play(scene, mine) == FRAMES["good"][1]


@needs_dbus
def test_a_start_command_that_is_refused_leaves_no_link() -> None:
    mine = clip()

    async def scene(room: Room) -> FailureReason:
        room.bluez.refusals["WriteValue"] = [Refusal("Failed", "no")]
        options = PacketOptions(address=ADDRESS, description=str(FRAMED))
        machine: Any = room.machine
        sensor = open_packet_oximeter("finger", options, machine, ALL)
        with pytest.raises(DriverError) as refused:
            await sensor.open()
        assert not mine.is_connected
        return refused.value.reason

    assert play(scene, mine) is FailureReason.BUS_ERROR
