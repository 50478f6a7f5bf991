"""A switch in a sensor's supply: when it cuts, for how long, and that the chip comes back."""

import asyncio
from itertools import pairwise

import pytest
from pydantic import ValidationError

from linetender_drivers.contracts import Sensor
from linetender_drivers.errors import DriverError
from linetender_drivers.i2c_options import I2cOptions
from linetender_drivers.measurements import Measurement
from linetender_drivers.pressure.sdp8xx import open_sdp8xx
from linetender_drivers.pressure.sdp8xx_spec import Sdp8xxOptions
from linetender_drivers.registry import find_spec
from linetender_drivers.simulated.i2c_bus import BusFault, FaultKind
from linetender_drivers.simulated.pins import OutputEdge
from linetender_drivers.simulated.virtual_time import run_virtual
from sensor_benches import CASES, Bench, SensorCase

GPIO = 16
MS = 1_000_000
BACKOFF_S = 0.25


class SwitchedBench(Bench):
    """A chip that hangs: only losing its supply, by the switch, frees the bus.

    Args:
        case: Which sensor.
        kind: How it hangs.
        on_high: How the switch is wired.
        is_freed: Whether losing its supply helps.
    """

    def __init__(
        self,
        case: SensorCase = CASES[0],
        kind: FaultKind = FaultKind.STUCK,
        *,
        on_high: bool = True,
        is_freed: bool = True,
    ) -> None:
        super().__init__(case)
        self.on_high, self.is_freed = on_high, is_freed
        self.hang = BusFault(kind)
        self.bus.faults.append(self.hang)
        self.machine.simulated_pins.on_output = self._switched
        spec = find_spec(case.driver)
        switch = {"power_gpio": GPIO, "power_on_high": on_high}
        options = spec.options.model_validate({"bus": "simulated", **case.options, **switch})
        self.sensor: Sensor = spec.opener()("part", options, self.machine, tuple(case.expected))
        self.starts: list[int] = []

    @property
    def cuts(self) -> list[tuple[int, bool]]:
        """Each level that the line was driven to, and when (ms)."""
        return [(edge.at_ns // MS, edge.high) for edge in self.machine.simulated_pins.edges]

    def _switched(self, edge: OutputEdge) -> None:
        if edge.high is not self.on_high:
            self.bus.detach(self.case.address)
            if self.is_freed and self.hang in self.bus.faults:
                self.bus.faults.remove(self.hang)
            return
        if hasattr(self.chip, "power_cycle"):
            self.chip.power_cycle()
        self.bus.attach(self.case.address, self.chip)

    async def start(self, times: int) -> bool:
        """Open as a supervisor does, at most so many times; say whether it opened."""
        for _ in range(times):
            self.starts.append(self.clock.now_ns() // MS)
            try:
                await self.sensor.open()
            except DriverError:
                await self.sensor.close()
                await self.clock.sleep(BACKOFF_S)
            else:
                return True
        return False


@pytest.mark.parametrize("case", CASES, ids=str)
def test_every_chip_is_freed_and_started_anew(case: SensorCase) -> None:
    async def scene() -> tuple[list[tuple[int, bool]], tuple[Measurement, ...]]:
        bench = SwitchedBench(case)
        assert await bench.start(8)
        read: dict[str, Measurement] = {}
        while set(read) != set(case.expected):
            read |= {one.signal: one for one in await bench.sensor.read()}
        return bench.cuts, tuple(read.values())

    cuts, read = run_virtual(scene())
    assert [high for _, high in cuts] == [True, False, True]
    assert cuts[2][0] - cuts[1][0] == 1000
    for one in read:
        value, tolerance = case.expected[one.signal]
        assert one.value == pytest.approx(value, abs=tolerance)


@pytest.mark.parametrize("on_high", [True, False])
@pytest.mark.parametrize("kind", [FaultKind.STUCK, FaultKind.NACK, FaultKind.ZEROS])
def test_three_starts_come_first(on_high: bool, kind: FaultKind) -> None:
    async def scene() -> tuple[list[int], list[tuple[int, bool]]]:
        bench = SwitchedBench(kind=kind, on_high=on_high)
        assert await bench.start(4)
        return bench.starts, bench.cuts

    starts, cuts = run_virtual(scene())
    cut_ms = starts[3]
    assert cuts == [(cut_ms, on_high), (cut_ms, not on_high), (cut_ms + 1000, on_high)]


def test_what_power_does_not_mend_is_cut_once_a_minute_at_most() -> None:
    async def scene() -> list[tuple[int, bool]]:
        bench = SwitchedBench(is_freed=False)
        assert not await bench.start(600)
        return bench.cuts

    off = [at for at, high in run_virtual(scene()) if not high]
    assert len(off) == 3
    assert all(60_000 <= later - at < 61_500 for at, later in pairwise(off))


def test_a_good_reading_begins_the_count_anew() -> None:
    async def scene() -> list[tuple[int, bool]]:
        bench = SwitchedBench()
        for _ in range(3):
            assert not await bench.start(2)
            bench.bus.faults.clear()
            assert await bench.start(1)
            await bench.sensor.read()
            await bench.sensor.close()
            bench.bus.faults.append(bench.hang)
        return bench.cuts

    assert run_virtual(scene()) == []


def test_starts_that_give_no_reading_count_too() -> None:
    async def scene() -> list[bool]:
        bench = SwitchedBench()
        bench.bus.faults.clear()
        for _ in range(4):
            assert await bench.start(1)
            await bench.sensor.close()
        return [high for _, high in bench.cuts]

    assert run_virtual(scene()) == [True, False, True]


def test_another_chip_at_the_address_is_not_cut() -> None:
    async def scene() -> list[tuple[int, bool]]:
        bench = SwitchedBench()
        bench.bus.faults.clear()
        model = Sdp8xxOptions(bus="simulated", product="SDP33-1500Pa", power_gpio=GPIO)
        bench.sensor = open_sdp8xx("air", model, bench.machine, ("duct_pressure_pa",))
        assert not await bench.start(10)
        return bench.cuts

    assert run_virtual(scene()) == []


def test_a_start_given_up_in_the_cut_leaves_the_supply_on() -> None:
    async def scene() -> list[bool]:
        bench = SwitchedBench()
        await bench.start(3)
        opening = asyncio.ensure_future(bench.sensor.open())
        await bench.clock.sleep(0.5)
        opening.cancel()
        with pytest.raises(asyncio.CancelledError):
            await opening
        return [high for _, high in bench.cuts]

    assert run_virtual(scene()) == [True, False, True]


def test_a_line_that_is_taken_is_told_and_starts_go_on(caplog: pytest.LogCaptureFixture) -> None:
    async def scene() -> bool:
        bench = SwitchedBench()
        bench.machine.simulated_pins.input(GPIO, pull_up=True)
        await bench.start(4)
        bench.bus.faults.clear()
        return await bench.start(1)

    assert run_virtual(scene())
    assert "part: its supply cannot be cut" in caplog.text


@pytest.mark.parametrize("gpio", [-1, 28])
def test_a_line_the_header_does_not_have_is_refused(gpio: int) -> None:
    with pytest.raises(ValidationError, match="power_gpio"):
        I2cOptions(bus="/dev/i2c-1", power_gpio=gpio)


def test_the_switch_hangs_on_the_header_or_in_the_same_simulation() -> None:
    buses = ("/dev/i2c-1", "simulated", "simulated:bench")
    chips = [I2cOptions(bus=bus).power_chip for bus in buses]
    assert chips == ["gpio", "simulated", "simulated:bench"]
