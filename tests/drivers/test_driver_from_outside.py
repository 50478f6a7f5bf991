"""A driver in somebody else's package, found by its entry point and named in a station file."""

import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from linetender_drivers.errors import DeviceNotFound, FailureReason
from linetender_drivers.measurements import Measurement
from linetender_drivers.registry import ENTRY_POINT_GROUP, UnknownDriver, driver_names, find_spec
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual
from settings.station_texts import WHOLE, load

PACKAGE = Path(__file__).resolve().parents[1] / "example_package"

FILTER = """\
[devices.filter]
driver = "example_gauge"
signals = ["filter_pressure_pa"]
options = { bus = "simulated" }
"""


@pytest.fixture
def installed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The package as an installer would leave it: its module, and what it says of itself."""
    project = tomllib.loads((PACKAGE / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    folder = (
        tmp_path / "site" / f"{project['name'].replace('-', '_')}-{project['version']}.dist-info"
    )
    folder.mkdir(parents=True)
    metadata = f"Metadata-Version: 2.1\nName: {project['name']}\nVersion: {project['version']}\n"
    (folder / "METADATA").write_text(metadata, encoding="utf-8")
    points = project["entry-points"][ENTRY_POINT_GROUP].items()
    lines = [f"[{ENTRY_POINT_GROUP}]", *(f"{name} = {where}" for name, where in points)]
    (folder / "entry_points.txt").write_text("\n".join(lines), encoding="utf-8")
    for place in (PACKAGE, folder.parent):
        monkeypatch.syspath_prepend(str(place))
    yield
    sys.modules.pop("example_gauge", None)


class Gauge:
    """The invented chip: its registers."""

    def __init__(self, identifier: bytes = b"EX") -> None:
        self._registers = {0: identifier, 1: (1234).to_bytes(2, "big")}
        self._pointer = 0

    def write(self, data: bytes, now_ns: int) -> None:
        self._pointer = data[0]

    def read(self, length: int, now_ns: int) -> bytes:
        return self._registers[self._pointer][:length]


def test_without_the_package_the_driver_is_unknown() -> None:
    with pytest.raises(UnknownDriver, match="example_gauge"):
        find_spec("example_gauge")


@pytest.mark.usefixtures("installed")
def test_with_it_a_station_file_can_name_it(tmp_path: Path) -> None:
    assert "example_gauge" in driver_names()
    station = load(tmp_path, WHOLE + FILTER)
    assert [device.driver for device in station.devices if device.name == "filter"] == [
        "example_gauge"
    ]


@pytest.mark.usefixtures("installed")
@pytest.mark.parametrize("identifier", [b"EX", b"NO"])
def test_it_reads_and_refuses_like_any_other(identifier: bytes) -> None:
    async def work() -> tuple[Measurement, ...] | FailureReason:
        machine = SimulatedMachine(VirtualClock())
        machine.buses["simulated"].attach(0x50, Gauge(identifier))
        spec = find_spec("example_gauge")
        options = spec.options.model_validate({"bus": "simulated"})
        sensor = spec.opener()("filter", options, machine, ("filter_pressure_pa",))
        try:
            await sensor.open()
        except DeviceNotFound as error:
            return error.reason
        made: tuple[Measurement, ...] = await sensor.read()
        await sensor.close()
        return made

    expected: object = FailureReason.WRONG_DEVICE
    if identifier == b"EX":
        expected = (Measurement("filter_pressure_pa", 123.4),)
    assert run_virtual(work()) == expected
