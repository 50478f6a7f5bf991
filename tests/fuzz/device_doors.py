"""What devices answer: chips on the I2C bus, oximeters by radio."""

import asyncio
from collections.abc import Callable, Iterable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from drivers.packet_files import FRAMED, PLAIN, framed, framed_frame
from fuzz.door import Door, no_false_numbers
from linetender_drivers.errors import BadFrame, DriverError
from linetender_drivers.measurements import Measurement
from linetender_drivers.oximeter.battery import battery_measurement
from linetender_drivers.oximeter.packet import open_packet_oximeter
from linetender_drivers.oximeter.packet_decode import decode_packet
from linetender_drivers.oximeter.packet_spec import PacketOptions
from linetender_drivers.oximeter.plausibility import PLAUSIBLE
from linetender_drivers.oximeter.plx_decode import decode_plx_continuous
from linetender_drivers.oximeter.plx_features_decode import decode_plx_features
from linetender_drivers.oximeter.plx_measurements import plx_measurements
from linetender_drivers.oximeter.plx_spot_check_decode import decode_plx_spot_check
from linetender_drivers.registry import find_spec
from linetender_drivers.simulated.i2c_bus import SimulatedI2cBus
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual
from odd_chips import Noise
from sensor_benches import CASES, Bench

READS = 6
ADDRESS = "C0:FF:EE:00:5A:5A"
OXIMETER = ("spo2_percent", "pulse_rate_bpm", "oximeter_battery_percent")


class DamagedBus(SimulatedI2cBus):
    """A bus on which a stream of bits is laid over what a chip truly answers."""

    def __init__(self, clock: VirtualClock, stream: bytes) -> None:
        super().__init__(clock)
        self._rest = stream

    async def transfer(self, address: int, write: bytes, read_n: int) -> bytes:
        answer = await super().transfer(address, write, read_n)
        mask, self._rest = self._rest[:read_n].ljust(read_n, b"\0"), self._rest[read_n:]
        return bytes(a ^ b for a, b in zip(answer, mask, strict=True))


def _chip(data: bytes) -> None:
    """The first byte says which driver, and whether its chip is damaged or noise."""
    if len(data) < 2:
        return
    case = CASES[data[0] % len(CASES)]

    async def work() -> None:
        clock = VirtualClock()
        if data[0] >= 128:
            bench = Bench(case, DamagedBus(clock, data[1:]))
        else:
            bench = Bench(case)
            bench.bus.detach(case.address)
            bench.bus.attach(case.address, Noise(data[1:]))
        await _read_some(bench.sensor)

    run_virtual(work())


async def _read_some(sensor: Any) -> None:
    try:
        await sensor.open()
        for _ in range(READS):
            try:
                no_false_numbers(await sensor.read())
            except DriverError:
                continue
    except DriverError as error:
        assert str(error).strip()
    finally:
        await sensor.close()


class ScriptedLink:
    """Sends notifications, answers reads, then drops.

    Args:
        clock: Whose time it runs by.
        notifications: One after another, one each second.
        value: Of whatever is read.
    """

    def __init__(self, clock: VirtualClock, notifications: list[bytes], value: bytes) -> None:
        self._clock = clock
        self._left = notifications
        self._value = value

    async def open(self) -> None:
        """Connect."""

    async def next(self) -> bytes:
        await self._clock.sleep(0.2)
        if not self._left:
            raise DriverError("finger", "the link dropped")
        return self._left.pop(0)

    async def value(self, characteristic: str) -> bytes | None:
        return self._value

    async def send(self, characteristic: str, octets: bytes) -> None:
        """Take anything."""

    async def close(self) -> None:
        """Disconnect."""


def pieces(data: bytes) -> list[bytes]:
    """Cut bytes into notifications, each after its length."""
    made = []
    while data:
        length = data[0] % 64
        made.append(data[1 : 1 + length])
        data = data[1 + length :]
    return made


def whole(*notifications: bytes) -> bytes:
    """Return the bytes that are cut into these."""
    return b"".join(bytes([len(each)]) + each for each in notifications)


def _oximeter(open_it: Callable[[Any], Any]) -> Callable[[bytes], None]:
    def take(data: bytes) -> None:
        sent = pieces(data)

        async def work() -> None:
            clock = VirtualClock()
            link = ScriptedLink(clock, sent, sent[0] if sent else b"")
            sensor = open_it(SimpleNamespace(clock=clock, notifications=lambda *_: link, buses={}))
            try:
                await sensor.open()
                for _ in range(len(sent) + 2):
                    await _one(sensor)
            except DriverError as error:
                assert str(error).strip()
            finally:
                await sensor.close()

        run_virtual(work())

    return take


async def _one(sensor: Any) -> None:
    """Read once; a link that sends nothing has its deadline."""
    try:
        async with asyncio.timeout(60.0):
            made = await sensor.read()
    except (DriverError, TimeoutError):
        return
    plausible(made)


def plausible(made: Iterable[Measurement]) -> None:
    """Refuse a number that no oximeter can have measured."""
    taken = tuple(made)
    no_false_numbers(taken)
    for one in taken:
        if one.value is not None:
            lowest, highest = PLAUSIBLE[one.signal]
            assert lowest <= one.value <= highest, one


def _plx(measurement: str) -> Callable[[Any], Any]:
    def open_it(machine: Any) -> Any:
        spec = find_spec("plx_oximeter")
        options = spec.options.model_validate({"address": ADDRESS, "measurement": measurement})
        signals = (*OXIMETER, "pulse_amplitude_index_percent")
        return spec.opener()("finger", options, machine, signals)

    return open_it


def _described(description: Path) -> Callable[[Any], Any]:
    def open_it(machine: Any) -> Any:
        options = PacketOptions(address=ADDRESS, description=str(description))
        return open_packet_oximeter("finger", options, machine, OXIMETER[:2])

    return open_it


def _octets(data: bytes) -> None:
    """The first byte says what the rest is taken for; no link, so that many get in."""
    kind, octets = data[:1] or b"\0", data[1:]
    try:
        match kind[0] % 5:
            case 0:
                made = plx_measurements(decode_plx_continuous("finger", octets))
            case 1:
                made = plx_measurements(decode_plx_spot_check("finger", octets))
            case 2:
                made = (battery_measurement(octets),)
            case 3:
                decode_plx_features("finger", octets)
                made = ()
            case _:
                made = decode_packet("finger", framed(), b"\xaa\x55\x09\x01" + octets)
    except BadFrame as error:
        assert error.frame is not None
        return
    plausible(made)


def _late_damage(number: int) -> bytes:
    """Return what leaves the first answers of a chip whole."""
    first = next(each for each in range(128, 256) if each % len(CASES) == number)
    return bytes([first]) + bytes(24) + b"\x01"


PLX = whole(
    bytes.fromhex("1c 61 00 48 00 20 01 00 00 00 2b f0"),
    bytes.fromhex("00 ff 07 ff 07"),
    bytes.fromhex("00 61 00 48 00"),
)
SPOT_CHECK = whole(
    bytes.fromhex("0f 61 00 48 00 e4 07 01 01 0c 00 00 20 01 00 00 00 2b f0"),
    bytes.fromhex("00 61 00 48 00"),
)

DEVICE_DOORS = (
    Door(
        "chips' bytes",
        _chip,
        tuple(
            seed
            for number in range(len(CASES))
            for seed in (bytes([number]) + b"\xbe\xef\x92" * 8, _late_damage(number))
        ),
        most=256,
    ),
    Door(
        "an oximeter's octets",
        _octets,
        tuple(bytes([kind]) + octets for kind in range(5) for octets in (PLX[1:13], bytes(8))),
        most=64,
    ),
    Door("PLX oximeter", _oximeter(_plx("continuous")), (PLX,), most=256),
    Door("PLX spot check", _oximeter(_plx("spot_check")), (SPOT_CHECK,), most=256),
    Door(
        "oximeter of framed packets",
        _oximeter(_described(FRAMED)),
        (whole(framed_frame(97, 60), framed_frame(96, 200)[:4], framed_frame(96, 200)[4:]),),
        (b"\xc9\x35\x09\x2d",),
        256,
    ),
    Door(
        "oximeter of plain packets",
        _oximeter(_described(PLAIN)),
        (whole(bytes([0x80, 97, 60, 0, 0]), bytes(8)),),
        most=256,
    ),
)
