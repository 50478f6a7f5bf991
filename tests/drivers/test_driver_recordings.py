"""The recorded bytes of every sensor on I2C still mean what they meant.

Each file in `tests/recordings/drivers/` holds what its driver and chip said to each other
and what was read from it. The driver must say the same again, and read the same from the
recorded answers. `pytest --update-golden` makes the files anew, from the simulated chips.
"""

import json
from pathlib import Path

import pytest

from linetender_drivers.buses.i2c_failures import transfer_failure
from linetender_drivers.errors import DriverError
from linetender_drivers.registry import find_spec
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual
from sensor_benches import CASES, Bench, SensorCase

FOLDER = Path(__file__).parents[1] / "recordings" / "drivers"
READS = 2


class RecordedBus:
    """Gives the recorded answers, and only to the recorded questions."""

    def __init__(self, transfers: list[dict[str, object]]) -> None:
        self.left = list(transfers)

    async def transfer(self, address: int, write: bytes, read_n: int) -> bytes:
        told = self.left.pop(0)
        assert (address, write.hex(), read_n) == (told["address"], told["write"], told["read_n"])
        if told["read"] is None:
            raise transfer_failure("recorded", OSError(121, "no acknowledge"))
        return bytes.fromhex(str(told["read"]))


async def _values(sensor) -> list[list[object]]:
    """Open, read and close a sensor; return signal, value and reason of every measurement."""
    await sensor.open()
    read = [one for _ in range(READS) for one in await sensor.read()]
    await sensor.close()
    return [[one.signal, one.value, one.reason] for one in read]


class _Noting:
    """A bus that notes each question with its answer."""

    def __init__(self, bus) -> None:
        self._bus = bus
        self.transfers: list[dict[str, object]] = []

    async def transfer(self, address: int, write: bytes, read_n: int) -> bytes:
        line = {"address": address, "write": write.hex(), "read_n": read_n, "read": None}
        self.transfers.append(line)
        answer = await self._bus.transfer(address, write, read_n)
        line["read"] = answer.hex()
        return answer


def _record(case: SensorCase, path: Path) -> None:
    async def scene() -> tuple[list[dict[str, object]], list[list[object]]]:
        bench = Bench(case)
        noting = bench.machine.buses["simulated"] = _Noting(bench.bus)
        return noting.transfers, await _values(bench.sensor)

    transfers, values = run_virtual(scene())
    header = {
        "driver": case.driver,
        "device": "simulated chip at register level, no real part",
        "who": "simulation",
        "how": "tests/drivers/test_driver_recordings.py --update-golden",
        "options": case.options,
        "signals": list(case.expected),
        "values": values,
    }
    path.write_text("".join(json.dumps(line) + "\n" for line in (header, *transfers)))


@pytest.mark.parametrize("case", CASES, ids=str)
def test_the_recorded_bytes_mean_what_they_meant(
    case: SensorCase, request: pytest.FixtureRequest
) -> None:
    path = FOLDER / f"{case.driver}.jsonl"
    if request.config.getoption("--update-golden"):
        _record(case, path)
    header, *transfers = [json.loads(line) for line in path.read_text().splitlines()]

    async def scene() -> tuple[list[list[object]], list[dict[str, object]]]:
        machine = SimulatedMachine(VirtualClock())
        bus = RecordedBus(transfers)
        machine.buses["simulated"] = bus  # type: ignore[assignment]
        spec = find_spec(header["driver"])
        options = spec.options.model_validate({"bus": "simulated", **header["options"]})
        sensor = spec.opener()("part", options, machine, tuple(header["signals"]))
        return await _values(sensor), bus.left

    assert run_virtual(scene()) == (header["values"], [])


def test_a_changed_answer_does_not_pass() -> None:
    header, *transfers = [
        json.loads(line) for line in (FOLDER / "sdp8xx.jsonl").read_text().splitlines()
    ]
    frame = next(line for line in transfers if line["read_n"] == 9)
    frame["read"] = f"{int(frame['read'][:2], 16) ^ 1:02x}{frame['read'][2:]}"

    async def scene() -> None:
        machine = SimulatedMachine(VirtualClock())
        machine.buses["simulated"] = RecordedBus(transfers)  # type: ignore[assignment]
        spec = find_spec("sdp8xx")
        options = spec.options.model_validate({"bus": "simulated"})
        await _values(spec.opener()("part", options, machine, tuple(header["signals"])))

    with pytest.raises(DriverError, match="CRC"):
        run_virtual(scene())
