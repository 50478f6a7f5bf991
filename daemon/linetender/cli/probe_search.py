"""What `probe` does: look for chips, pins and oximeters, and read what can be read."""

import asyncio
from collections.abc import Sequence
from pathlib import Path

import msgspec

from linetender_drivers.contracts import Machine
from linetender_drivers.errors import DriverError
from linetender_drivers.i2c_probe import BusReport, Sighting, search
from linetender_drivers.measurements import Measurement
from linetender_drivers.registry import find_spec

HEADER_BUS = Path("/dev/i2c-1")
"""The bus on the 40-pin header of every Raspberry Pi."""

READ_S = 10.0
"""So long may a sensor take for its values (chosen: an SCD4x measures every 5 s)."""

MOST_READS = 40
PLX_SERVICE = "00001822-0000-1000-8000-00805f9b34fb"
PLX_CONTINUOUS = "00002a5f-0000-1000-8000-00805f9b34fb"
MODEL_NUMBER = "00002a24-0000-1000-8000-00805f9b34fb"


class Reading(msgspec.Struct, frozen=True):
    """What one chip that was recognised reads; `failure` says why it reads nothing."""

    sighting: Sighting
    measurements: tuple[Measurement, ...] = ()
    failure: str | None = None


class Around(msgspec.Struct, frozen=True):
    """Pins or radio: what was found, or why nothing could be."""

    found: dict[str, str]
    failure: str | None = None


def header_buses(folder: Path = HEADER_BUS.parent) -> tuple[str, ...]:
    """Return the header's bus where there is one, else nothing."""
    bus = folder / HEADER_BUS.name
    return (str(bus),) if bus.exists() else ()


def other_buses(chosen: Sequence[str], folder: Path = HEADER_BUS.parent) -> tuple[str, ...]:
    """Return the buses that are there but not among the chosen ones."""
    return tuple(sorted({str(path) for path in folder.glob("i2c-*")} - set(chosen)))


async def search_buses(
    machine: Machine, buses: Sequence[str], tried: Sequence[str] = ()
) -> tuple[BusReport, ...]:
    """Look which chips are on each bus, one bus after another.

    Args:
        machine: Whose buses.
        buses: Their names.
        tried: Drivers whose chips are looked for although that writes settings.
    """
    return tuple([await search(bus, machine.i2c(bus), machine.clock, tried) for bus in buses])


async def read_all(machine: Machine, reports: Sequence[BusReport]) -> tuple[Reading, ...]:
    """Read each chip whose driver needs nothing more to be told; all at once."""
    jobs = [
        _read(machine, report.bus, sighting)
        for report in reports
        for sighting in report.sightings
        if not sighting.found.to_fill_in
    ]
    return tuple(await asyncio.gather(*jobs))


async def _read(machine: Machine, bus: str, sighting: Sighting) -> Reading:
    spec, found = find_spec(sighting.driver), sighting.found
    options = {"bus": bus, **options_at(sighting)}
    seen: dict[str, Measurement] = {}
    try:
        sensor = spec.opener()(
            sighting.driver, spec.options.model_validate(options), machine, found.signals
        )
        try:
            async with asyncio.timeout(READ_S):
                await sensor.open()
                for _ in range(MOST_READS):
                    seen |= {one.signal: one for one in await sensor.read()}
                    if len(seen) == len(found.signals):
                        break
        finally:
            await sensor.close()
    except TimeoutError:
        return Reading(sighting, (), f"no values within {READ_S:g} s")
    except DriverError as error:
        return Reading(sighting, (), str(error))
    return Reading(sighting, tuple(seen[name] for name in sorted(seen)))


def options_at(sighting: Sighting) -> dict[str, object]:
    """Return the driver's options but its bus; the address where the driver has a choice."""
    has_address = "address" in find_spec(sighting.driver).options.model_fields
    return {"address": sighting.address, **sighting.found.options} if has_address else {}


def look_for_pins(machine: Machine, chip: str) -> Around:
    """Say whether the digital lines can be used."""
    try:
        machine.pins(chip)
    except DriverError as error:
        return Around({}, str(error))
    return Around({chip: "GPIO chip of the 40-pin header"})


async def look_for_oximeters() -> Around:
    """Listen once for what offers the pulse-oximeter service."""
    # They load the Bluetooth library, so only here.
    from linetender_drivers.buses.ble_finder import PeerFinder
    from linetender_drivers.buses.ble_limits import RadioLimits

    try:
        return Around(await PeerFinder(RadioLimits()).offering(PLX_SERVICE))
    except DriverError as error:
        return Around({}, str(error))


async def look_for_peer(machine: Machine, address: str) -> Around:
    """Say whether the one oximeter of a simulated world can be connected to."""
    link = machine.notifications(address, PLX_SERVICE, PLX_CONTINUOUS)
    try:
        await link.open()
        model = await link.value(MODEL_NUMBER)
    except DriverError as error:
        return Around({}, str(error))
    finally:
        await link.close()
    return Around({address: (model or b"oximeter").decode(errors="replace")})
