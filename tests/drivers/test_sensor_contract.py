"""What holds for every sensor driver on I2C, with its simulated chip and every fault."""

import asyncio
import math
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import TypeVar

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linetender.core.signals import Signal
from linetender_drivers.crc_words import with_crcs
from linetender_drivers.errors import DeviceNotFound, DriverError, FailureReason
from linetender_drivers.i2c_options import I2cOptions
from linetender_drivers.measurements import Measurement
from linetender_drivers.registry import Kind, driver_names, find_spec
from linetender_drivers.simulated.i2c_bus import BusFault, FaultKind
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual
from odd_chips import FlippingBus, Noise, Stranger, TwoChips
from sensor_benches import CASES, Bench, SensorCase

T = TypeVar("T")

every_sensor = pytest.mark.parametrize("case", CASES, ids=str)

MOST_READS = 40
"""After so many readings every signal has come at least once."""


def on(case: SensorCase, work: Callable[[Bench], Awaitable[T]]) -> T:
    async def run() -> T:
        return await work(Bench(case))

    return run_virtual(run())


async def read_all(bench: Bench) -> dict[str, Measurement]:
    """Read until each signal has come."""
    seen: dict[str, Measurement] = {}
    for _ in range(MOST_READS):
        seen |= {one.signal: one for one in await bench.sensor.read()}
        if set(seen) == set(bench.case.expected):
            break
    return seen


def assert_right(case: SensorCase, measurements: tuple[Measurement, ...]) -> None:
    """Each value is the one that the chip stands at."""
    for one in measurements:
        value, tolerance = case.expected[one.signal]
        assert one.value == pytest.approx(value, abs=tolerance), one


def assert_finite_or_reason(measurements: tuple[Measurement, ...]) -> None:
    for one in measurements:
        assert (one.value is None) != (one.reason is None), one
        assert one.value is None or math.isfinite(one.value), one


def test_every_sensor_on_i2c_has_its_case() -> None:
    specs = {name: find_spec(name) for name in driver_names()}
    on_i2c = {
        name
        for name, spec in specs.items()
        if spec.kind is Kind.SENSOR and issubclass(spec.options, I2cOptions)
    }
    assert {case.driver for case in CASES} == on_i2c


@every_sensor
def test_it_opens_and_reads_what_the_chip_stands_at_in_known_units(case: SensorCase) -> None:
    async def work(bench: Bench) -> dict[str, Measurement]:
        await bench.sensor.open()
        return await read_all(bench)

    seen = on(case, work)
    assert set(seen) == set(case.expected)
    assert_right(case, tuple(seen.values()))
    assert set(seen) <= {signal.value for signal in Signal}
    spec = find_spec(case.driver)
    options = spec.options.model_validate({"bus": "simulated", **case.options})
    assert set(seen) <= spec.provides(options)
    assert spec.summary
    assert options.is_simulated


@every_sensor
def test_each_read_ends_well_before_its_deadline(case: SensorCase) -> None:
    async def work(bench: Bench) -> float:
        await bench.sensor.open()
        longest_ns = 0
        for _ in range(10):
            before_ns = bench.clock.now_ns()
            await bench.sensor.read()
            longest_ns = max(longest_ns, bench.clock.now_ns() - before_ns)
        return longest_ns / 1e9 / bench.sensor.read_deadline_s

    assert on(case, work) < 0.95


@every_sensor
def test_nothing_at_the_address_is_not_found(case: SensorCase) -> None:
    async def work(bench: Bench) -> None:
        bench.bus.detach(case.address)
        with pytest.raises(DeviceNotFound, match=f"0x{case.address:02x}") as caught:
            await bench.sensor.open()
        assert caught.value.reason is FailureReason.NOT_FOUND
        await bench.sensor.close()

    on(case, work)


STRANGERS = {
    "sound words": Stranger(b"\xbe\xef", crc=True),
    "words": Stranger(b"\xbe\xef", crc=False),
    "zeros": Stranger(b"\x00\x00", crc=False),
    "zeros with CRC": Stranger(b"\x00\x00", crc=True),
    "ones": Stranger(b"\xff\xff", crc=False),
}


@every_sensor
@pytest.mark.parametrize("stranger", STRANGERS)
def test_a_stranger_is_refused(case: SensorCase, stranger: str) -> None:
    async def work(bench: Bench) -> None:
        bench.bus.attach(case.address, STRANGERS[stranger])
        with pytest.raises(DriverError):
            await bench.sensor.open()
        with pytest.raises(DriverError):
            await bench.sensor.read()

    on(case, work)


PAIRS = [
    (case, other)
    for case in CASES
    for other in CASES
    if other.driver != case.driver and not (case.family and case.family == other.family)
]


@pytest.mark.parametrize(("case", "other"), PAIRS, ids=str)
def test_another_drivers_chip_is_refused(case: SensorCase, other: SensorCase) -> None:
    async def work(bench: Bench) -> None:
        bench.bus.attach(case.address, other.chip())
        with pytest.raises(DriverError):
            await bench.sensor.open()

    on(case, work)


REASONS = {
    FaultKind.NACK: FailureReason.NACK,
    FaultKind.STUCK: FailureReason.TIMEOUT,
    FaultKind.OVERDUE: FailureReason.TIMEOUT,
    FaultKind.ARBITRATION: FailureReason.BUS_ERROR,
    FaultKind.BUS_ERROR: FailureReason.BUS_ERROR,
}


@every_sensor
@pytest.mark.parametrize("kind", REASONS)
def test_a_fault_while_reading_gives_its_reason_in_time_and_passes(
    case: SensorCase, kind: FaultKind
) -> None:
    async def work(bench: Bench) -> dict[str, Measurement]:
        await bench.sensor.open()
        bench.bus.faults.append(BusFault(kind))
        with pytest.raises(DriverError) as caught:
            async with asyncio.timeout(bench.sensor.read_deadline_s):
                await bench.sensor.read()
        assert caught.value.reason is REASONS[kind]
        bench.bus.faults.clear()
        return await read_all(bench)

    assert_right(case, tuple(on(case, work).values()))


@every_sensor
@pytest.mark.parametrize("kind", [*REASONS, FaultKind.ZEROS])
def test_a_fault_while_opening_gives_its_reason(case: SensorCase, kind: FaultKind) -> None:
    async def work(bench: Bench) -> dict[str, Measurement]:
        bench.bus.faults.append(BusFault(kind))
        with pytest.raises(DriverError) as caught:
            await bench.sensor.open()
        if kind is FaultKind.NACK:
            assert caught.value.reason is FailureReason.NOT_FOUND
        elif kind is not FaultKind.ZEROS:
            assert caught.value.reason is REASONS[kind]
        bench.bus.faults.clear()
        await bench.sensor.open()
        return await read_all(bench)

    assert_right(case, tuple(on(case, work).values()))


@every_sensor
def test_a_dead_data_line_gives_no_number(case: SensorCase) -> None:
    async def work(bench: Bench) -> tuple[Measurement, ...]:
        await bench.sensor.open()
        bench.bus.faults.append(BusFault(FaultKind.ZEROS))
        try:
            return await bench.sensor.read()
        except DriverError as error:
            assert error.reason in (FailureReason.BAD_CRC, FailureReason.BAD_FRAME)
            return ()

    assert [one.value for one in on(case, work) if one.value is not None] == []


@every_sensor
def test_a_call_that_never_returns_is_judged_by_the_reader(case: SensorCase) -> None:
    async def work(bench: Bench) -> None:
        await bench.sensor.open()
        bench.bus.faults.append(BusFault(FaultKind.NEVER_RETURNS))
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(bench.sensor.read_deadline_s):
                await bench.sensor.read()

    on(case, work)


@every_sensor
def test_closing_twice_or_unopened_is_quiet_and_a_closed_sensor_does_not_read(
    case: SensorCase,
) -> None:
    async def work(bench: Bench) -> dict[str, Measurement]:
        await bench.sensor.close()
        await bench.sensor.open()
        await bench.sensor.read()
        for _ in range(2):
            await bench.sensor.close()
            with pytest.raises(DriverError) as caught:
                await bench.sensor.read()
            assert caught.value.reason is FailureReason.CLOSED
        await bench.sensor.open()
        bench.bus.faults.append(BusFault(FaultKind.BUS_ERROR))
        await bench.sensor.close()
        bench.bus.faults.clear()
        await bench.sensor.open()
        return await read_all(bench)

    assert_right(case, tuple(on(case, work).values()))


@every_sensor
def test_any_flipped_bit_gives_a_reason_or_changes_nothing(case: SensorCase) -> None:
    async def work() -> int:
        bus = FlippingBus(VirtualClock())
        bench = Bench(case, bus)
        await bench.sensor.open()
        await bench.sensor.read()
        bus.answers.clear()
        await bench.sensor.read()
        # A sensor that is asked until it is ready gives the same answer again and again.
        places = {
            (n, 0 if case.has_crc else bus.answers[:at].count(n))
            for at, n in enumerate(bus.answers)
        }
        refused = 0
        for length, nth in sorted(places):
            for bit in range(8 * length):
                bus.answers.clear()
                bus.flip = (length, nth, bit)
                try:
                    assert_right(case, await bench.sensor.read())
                except DriverError as error:
                    assert error.reason in (FailureReason.BAD_CRC, FailureReason.BAD_FRAME)
                    refused += 1
                bus.flip = None
                assert_right(case, await bench.sensor.read())
        return refused

    assert run_virtual(work()) > 8


WITH_MEMORY = [case for case in CASES if hasattr(case.chip(), "power_cycle")]


@pytest.mark.parametrize("case", WITH_MEMORY, ids=str)
@pytest.mark.parametrize("after_ms", [0, 1, 2, 5, 20])
def test_power_lost_in_mid_read_gives_a_reason_or_the_right_value(
    case: SensorCase, after_ms: int
) -> None:
    async def work(bench: Bench) -> dict[str, Measurement]:
        await bench.sensor.open()
        reading = asyncio.ensure_future(bench.sensor.read())
        await bench.clock.sleep(after_ms / 1000)
        bench.chip.power_cycle()
        for attempt in (reading, bench.sensor.read()):
            try:
                assert_right(case, await attempt)
            except DriverError as error:
                assert error.reason in FailureReason
        await bench.sensor.close()
        await bench.sensor.open()
        return await read_all(bench)

    assert_right(case, tuple(on(case, work).values()))


@pytest.mark.parametrize("case", [case for case in CASES if case.has_crc], ids=str)
def test_two_chips_on_one_address_give_no_number(case: SensorCase) -> None:
    async def work(bench: Bench) -> None:
        assert case.second is not None
        bench.bus.attach(case.address, TwoChips(case.chip(), case.second()))
        with pytest.raises(DriverError):
            await bench.sensor.open()
            await bench.sensor.read()

    on(case, work)


STREAMS = st.one_of(
    st.binary(min_size=1, max_size=40),
    st.lists(st.binary(min_size=2, max_size=2), min_size=1, max_size=8).map(
        lambda words: with_crcs(b"".join(words))
    ),
    st.binary(min_size=1, max_size=4).map(lambda some: some * 2),
)


@every_sensor
@given(stream=STREAMS)
def test_random_bytes_give_a_finite_value_or_a_typed_error(case: SensorCase, stream: bytes) -> None:
    async def work(bench: Bench) -> None:
        await bench.sensor.open()
        bench.bus.attach(case.address, Noise(stream))
        try:
            assert_finite_or_reason(await bench.sensor.read())
            await bench.sensor.close()
            await bench.sensor.open()
            assert_finite_or_reason(await bench.sensor.read())
        except DriverError as error:
            assert error.device

    on(case, work)


@every_sensor
def test_the_manual_names_every_option(case: SensorCase) -> None:
    manual = (Path(__file__).parents[2] / "drivers" / "README.md").read_text(encoding="utf-8")
    assert f"| `{case.driver}` |" in manual
    _, _, after = manual.partition(f"\n## {case.driver}: ")
    section, _, _ = after.partition("\n## ")
    for name in find_spec(case.driver).options.model_fields:
        is_of_all = name in I2cOptions.model_fields and name != "bus"
        assert f"`{name}`" in (manual if is_of_all else section), name
    assert f'driver = "{case.driver}"' in section
