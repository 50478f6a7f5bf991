"""The SDP8xx driver against its simulated chip: pace, values, and every fault with its reason."""

import asyncio
from collections.abc import Awaitable, Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from linetender_drivers.crc_words import crc8, with_crcs
from linetender_drivers.errors import (
    BadFrame,
    DeviceNotFound,
    DeviceTimeout,
    DriverConfigError,
    DriverError,
    FailureReason,
)
from linetender_drivers.measurements import Measurement
from linetender_drivers.pressure.sdp8xx import open_sdp8xx
from linetender_drivers.pressure.sdp8xx_decode import (
    PRODUCTS,
    Identifier,
    Sdp8xxFrame,
    decode_frame,
    decode_identifier,
)
from linetender_drivers.pressure.sdp8xx_spec import SPEC, Sdp8xxOptions
from linetender_drivers.registry import find_spec
from linetender_drivers.simulated.i2c_bus import BusFault, FaultKind, SimulatedI2cBus
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.sdp8xx_chip import Sdp8xxChip
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

MS = 1_000_000
OPEN_MS = 2 + 1 + 20
"""After a stop, before the identifier, warm-up."""


class Bench:
    """A chip on a simulated bus and the driver that reads it."""

    def __init__(
        self,
        part: str = "SDP810-500Pa",
        signals: tuple[str, ...] = ("duct_pressure_pa",),
        **options: object,
    ) -> None:
        self.clock = VirtualClock()
        self.machine = SimulatedMachine(self.clock)
        self.bus = SimulatedI2cBus(self.clock, keep_transfers=True)
        self.machine.buses["simulated"] = self.bus
        self.chip = Sdp8xxChip(part)
        self.bus.attach(0x25, self.chip)
        model = Sdp8xxOptions.model_validate({"bus": "simulated", **options})
        self.sensor = open_sdp8xx("air", model, self.machine, signals)


def on_bench(work: Callable[[Bench], Awaitable[object]], bench: Bench) -> object:
    async def run() -> object:
        return await work(bench)

    return run_virtual(run())


def test_opening_stops_verifies_and_starts() -> None:
    async def life(bench: Bench) -> None:
        await bench.sensor.open()
        await bench.sensor.read()
        await bench.sensor.close()

    bench = Bench("SDP800-500Pa")
    on_bench(life, bench)
    assert [(t.at_ns // MS, t.write.hex(), len(t.read), t.ok) for t in bench.bus.transfers] == [
        (0, "3ff9", 0, True),
        (2, "367c", 0, True),
        (2, "e102", 0, True),
        (3, "", 18, True),
        (3, "3615", 0, True),
        (23, "", 9, True),
        (23, "3ff9", 0, True),
    ]


def test_a_chip_left_measuring_by_a_crashed_process_is_opened() -> None:
    async def leave_running(bench: Bench) -> tuple[Measurement, ...]:
        await bench.bus.transfer(0x25, bytes.fromhex("361E"), 0)
        await bench.sensor.open()
        return await bench.sensor.read()

    assert on_bench(leave_running, Bench()) == (Measurement("duct_pressure_pa", 0.0),)


def test_readings_keep_a_grid_without_drift_and_temperature_comes_once_a_second() -> None:
    async def read_two_seconds(bench: Bench) -> list[tuple[int, tuple[str, ...]]]:
        await bench.sensor.open()
        start_ns = bench.clock.now_ns()
        seen = []
        for _ in range(51):
            measurements = await bench.sensor.read()
            signals = tuple(measurement.signal for measurement in measurements)
            seen.append((bench.clock.now_ns() - start_ns, signals))
            await bench.clock.sleep(0.003)  # what the reader does with it takes time
        return seen

    both = ("hood_pressure_pa", "element_temperature_c")
    assert on_bench(read_two_seconds, Bench(signals=both)) == [
        (40 * MS * k, both if k % 25 == 0 else both[:1]) for k in range(51)
    ]


def test_after_a_gap_the_grid_starts_anew_without_a_burst() -> None:
    async def with_gap(bench: Bench) -> list[int]:
        await bench.sensor.open()
        start_ns = bench.clock.now_ns()
        times = []
        for gap_s in (0.0, 1.0, 0.0, 0.0):
            await bench.sensor.read()
            times.append((bench.clock.now_ns() - start_ns) // MS)
            await bench.clock.sleep(gap_s)
        return times

    assert on_bench(with_gap, Bench()) == [0, 40, 1040, 1080]


@pytest.mark.parametrize(
    ("product", "pressure_pa", "expected"),
    [
        ("SDP810-500Pa", 61.3, Measurement("duct_pressure_pa", 3678 / 60)),
        ("SDP810-500Pa", -500.0, Measurement("duct_pressure_pa", -500.0)),
        ("SDP810-500Pa", 510.0, Measurement("duct_pressure_pa", reason="out_of_range")),
        ("SDP810-500Pa", 9999.0, Measurement("duct_pressure_pa", reason="out_of_range")),
        ("SDP810-125Pa", 124.0, Measurement("duct_pressure_pa", 124.0)),
        ("SDP810-125Pa", -126.0, Measurement("duct_pressure_pa", reason="out_of_range")),
        ("SDP33-1500Pa", 1500.0, Measurement("duct_pressure_pa", 1500.0)),
    ],
)
def test_pressure_within_and_beyond_the_range(
    product: str, pressure_pa: float, expected: Measurement
) -> None:
    async def read_once(bench: Bench) -> tuple[Measurement, ...]:
        bench.chip.pressure_pa = lambda _: pressure_pa
        await bench.sensor.open()
        return await bench.sensor.read()

    assert on_bench(read_once, Bench(product)) == (expected,)


def test_an_impossible_temperature_is_no_number() -> None:
    async def read_once(bench: Bench) -> tuple[Measurement, ...]:
        bench.chip.temperature_c = lambda _: 140.0
        await bench.sensor.open()
        return await bench.sensor.read()

    signals = ("duct_pressure_pa", "element_temperature_c")
    assert on_bench(read_once, Bench(signals=signals)) == (
        Measurement("duct_pressure_pa", 0.0),
        Measurement("element_temperature_c", reason="out_of_range"),
    )


FAULTS_WHILE_READING = [
    (BusFault(FaultKind.NACK), DriverError, FailureReason.NACK),
    (BusFault(FaultKind.STUCK), DeviceTimeout, FailureReason.TIMEOUT),
    (BusFault(FaultKind.OVERDUE), DeviceTimeout, FailureReason.TIMEOUT),
    (BusFault(FaultKind.ARBITRATION), DriverError, FailureReason.BUS_ERROR),
    (BusFault(FaultKind.BUS_ERROR), DriverError, FailureReason.BUS_ERROR),
    (BusFault(FaultKind.ZEROS), BadFrame, FailureReason.BAD_CRC),
    *[
        (BusFault(FaultKind.FLIPPED_BIT, bit=bit), BadFrame, FailureReason.BAD_CRC)
        for bit in range(9 * 8)
    ],
]


@pytest.mark.parametrize(("fault", "kind", "reason"), FAULTS_WHILE_READING)
def test_each_fault_while_reading_gives_its_reason_and_passes(
    fault: BusFault, kind: type[DriverError], reason: FailureReason
) -> None:
    async def fail_then_read(bench: Bench) -> tuple[Measurement, ...]:
        bench.chip.pressure_pa = lambda _: 61.0
        await bench.sensor.open()
        bench.bus.faults.append(fault)
        with pytest.raises(DriverError) as caught:
            await bench.sensor.read()
        assert (type(caught.value), caught.value.reason) == (kind, reason)
        bench.bus.faults.clear()
        return await bench.sensor.read()

    assert on_bench(fail_then_read, Bench()) == (Measurement("duct_pressure_pa", 61.0),)


def test_a_call_that_never_returns_leaves_judging_to_the_reader() -> None:
    async def hang(bench: Bench) -> int:
        await bench.sensor.open()
        bench.bus.faults.append(BusFault(FaultKind.NEVER_RETURNS))
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(bench.sensor.read_deadline_s):
                await bench.sensor.read()
        return bench.clock.now_ns()

    assert on_bench(hang, Bench()) == (OPEN_MS + 1040) * MS


def test_a_frozen_chip_repeats_its_words() -> None:
    async def freeze(bench: Bench) -> list[float | None]:
        bench.chip.pressure_pa = lambda now_ns: now_ns / (40 * MS)
        await bench.sensor.open()
        values = []
        for _ in range(2):
            values.append((await bench.sensor.read())[0].value)
        bench.bus.faults.append(BusFault(FaultKind.FROZEN, until_ns=140 * MS))
        for _ in range(3):
            values.append((await bench.sensor.read())[0].value)
        return values

    # Read at 23, 63, 103, 143 and 183 ms, in counts of 1/60 Pa; frozen until 140 ms.
    ticks = [round(ms / 40 * 60) / 60 for ms in (23, 63, 63, 143, 183)]
    assert on_bench(freeze, Bench()) == ticks


def test_a_chip_that_lost_its_power_refuses_until_opened_again() -> None:
    async def brown_out(bench: Bench) -> tuple[Measurement, ...]:
        await bench.sensor.open()
        await bench.sensor.read()
        bench.chip.power_cycle()
        with pytest.raises(DriverError) as caught:
            await bench.sensor.read()
        assert caught.value.reason is FailureReason.NACK
        await bench.sensor.close()
        await bench.sensor.open()
        return await bench.sensor.read()

    assert on_bench(brown_out, Bench()) == (Measurement("duct_pressure_pa", 0.0),)


@pytest.mark.parametrize(
    ("fault", "kind", "reason"),
    [
        (BusFault(FaultKind.NACK), DeviceNotFound, FailureReason.NOT_FOUND),
        (BusFault(FaultKind.STUCK), DeviceTimeout, FailureReason.TIMEOUT),
        (BusFault(FaultKind.BUS_ERROR), DriverError, FailureReason.BUS_ERROR),
        (BusFault(FaultKind.ZEROS), BadFrame, FailureReason.BAD_CRC),
        (BusFault(FaultKind.FLIPPED_BIT, bit=5), BadFrame, FailureReason.BAD_CRC),
    ],
)
def test_each_fault_while_opening_gives_its_reason(
    fault: BusFault, kind: type[DriverError], reason: FailureReason
) -> None:
    async def open_it(bench: Bench) -> None:
        bench.bus.faults.append(fault)
        with pytest.raises(DriverError) as caught:
            await bench.sensor.open()
        assert (type(caught.value), caught.value.reason) == (kind, reason)

    on_bench(open_it, Bench())


def test_an_unplugged_sensor_is_not_found_and_closing_it_is_quiet() -> None:
    async def unplugged(bench: Bench) -> None:
        bench.bus.detach(0x25)
        with pytest.raises(DeviceNotFound, match=r"air: no sensor answers at address 0x25"):
            await bench.sensor.open()
        await bench.sensor.close()
        await bench.sensor.close()

    on_bench(unplugged, Bench())


class Stranger:
    """A chip of another maker's: takes anything, answers with a sound frame of its own."""

    def write(self, data: bytes, now_ns: int) -> None:
        pass

    def read(self, length: int, now_ns: int) -> bytes:
        word = b"\xbe\xef"
        return (word + bytes([crc8(word)])) * (length // 3)


def test_another_chip_is_refused_with_its_bytes_before_it_is_started() -> None:
    async def wrong_chip(bench: Bench) -> None:
        bench.bus.attach(0x25, Stranger())
        with pytest.raises(DeviceNotFound, match=r"0xbeefbeef \(be ef 92") as caught:
            await bench.sensor.open()
        assert caught.value.reason is FailureReason.WRONG_DEVICE
        assert all(transfer.write.hex() != "3615" for transfer in bench.bus.transfers)

    on_bench(wrong_chip, Bench())


def test_another_part_of_the_family_is_refused_if_one_is_configured() -> None:
    async def wrong_part(bench: Bench) -> None:
        with pytest.raises(DeviceNotFound, match=r"SDP810-500Pa; expected SDP810-125Pa") as caught:
            await bench.sensor.open()
        assert caught.value.reason is FailureReason.WRONG_DEVICE

    on_bench(wrong_part, Bench("SDP810-500Pa", product="SDP810-125Pa"))


def test_reading_before_opening_is_an_error() -> None:
    async def read_closed(bench: Bench) -> None:
        with pytest.raises(DriverError) as caught:
            await bench.sensor.read()
        assert caught.value.reason is FailureReason.CLOSED

    on_bench(read_closed, Bench())


@pytest.mark.parametrize(
    "signals",
    [(), ("element_temperature_c",), ("duct_pressure_pa", "hood_pressure_pa"), ("spo2_percent",)],
)
def test_the_sensor_measures_exactly_one_pressure(signals: tuple[str, ...]) -> None:
    with pytest.raises(DriverConfigError, match="exactly one of"):
        Bench(signals=signals)


def test_the_registry_knows_the_driver_and_what_it_provides() -> None:
    assert find_spec("sdp8xx") is SPEC
    assert SPEC.opener() is open_sdp8xx
    options = Sdp8xxOptions(bus="/dev/i2c-1")
    assert SPEC.provides(options) == {
        "duct_pressure_pa",
        "hood_pressure_pa",
        "filter_pressure_pa",
        "element_temperature_c",
    }
    assert (options.is_simulated, Sdp8xxOptions(bus="simulated").is_simulated) == (False, True)


@pytest.mark.parametrize(
    "options",
    [
        {},
        {"bus": "1"},
        {"bus": "simulated", "address": 0x62},
        {"bus": "simulated", "address": "0x25"},
        {"bus": "simulated", "period_s": 0.0},
        {"bus": "simulated", "period_s": float("nan")},
        {"bus": "simulated", "product": "SDP999"},
        {"bus": "simulated", "adress": 0x25},
    ],
)
def test_bad_options_are_refused(options: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        Sdp8xxOptions.model_validate(options)


def test_every_known_part_can_be_configured() -> None:
    for part in PRODUCTS.values():
        options = Sdp8xxOptions.model_validate({"bus": "simulated", "product": part.name})
        assert options.product == part.name


ANY_FRAME = st.one_of(
    st.binary(max_size=20),
    st.binary(min_size=6, max_size=6).map(with_crcs),
    st.binary(min_size=5, max_size=5).map(lambda b: with_crcs(b[:4] + b"\x00" + b[4:])),
    st.binary(min_size=12, max_size=12).map(with_crcs),
)


@given(ANY_FRAME)
def test_random_bytes_give_a_reading_or_bad_frame(frame: bytes) -> None:
    try:
        decoded = decode_frame(frame, "air")
    except BadFrame as error:
        assert error.frame == frame
    else:
        assert len(frame) == 9
        assert isinstance(decoded, Sdp8xxFrame)
        assert abs(decoded.differential_pa) <= 32768 / 20


@given(ANY_FRAME)
def test_random_bytes_give_an_identifier_or_bad_frame(frame: bytes) -> None:
    try:
        decoded = decode_identifier(frame, "air")
    except BadFrame as error:
        assert error.frame == frame
    else:
        assert len(frame) == 18
        assert isinstance(decoded, Identifier)


@given(st.integers(-32768, 32767), st.integers(-32768, 32767), st.sampled_from([20, 60, 240]))
def test_what_is_encoded_is_decoded(pressure: int, temperature: int, scale: int) -> None:
    words = b"".join(
        value.to_bytes(2, "big", signed=True) for value in (pressure, temperature, scale)
    )
    assert decode_frame(with_crcs(words), "air") == (pressure / scale, temperature / 200, scale)


@pytest.mark.parametrize("scale", [0, 1, 59, 61, -60])
def test_an_unknown_scale_is_a_bad_frame(scale: int) -> None:
    with pytest.raises(BadFrame) as caught:
        decode_frame(with_crcs(bytes(4) + scale.to_bytes(2, "big", signed=True)), "air")
    assert caught.value.reason is FailureReason.BAD_FRAME
