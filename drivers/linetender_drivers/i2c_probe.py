"""Finding out which chips are on an I2C bus without harming those that are not ours.

Only addresses at which a driver's chip can be are looked at, in three rounds. First a byte
is read from each, writing nothing. Where it was given, chips are asked that need no
writing, then those that are told a register's number only. A chip that wants a command
first gives no byte unasked; so commands go only to addresses that gave none, and never to
an output port or a memory, which gives a byte always and would take a command for data.

A chip that cannot say what it is before its settings are written is looked for only when a
person has named its driver: at its addresses nothing else is safe.
"""

from collections.abc import Awaitable, Callable, Collection, Mapping
from dataclasses import dataclass, field
from enum import IntEnum

from linetender_drivers.contracts import Clock, I2cBus
from linetender_drivers.errors import BadFrame, DriverError, FailureReason
from linetender_drivers.i2c_sensor import I2cChip
from linetender_drivers.registry import driver_names, find_spec


class Writes(IntEnum):
    """What asking a chip writes; the lower is asked first."""

    NOTHING = 0
    REGISTER = 1
    """A register's number, to read it."""
    COMMAND = 2
    """A command of two bytes that asks for an identifier."""
    SETTING = 3
    """Settings, which any other chip might store or obey; only on demand."""


@dataclass(frozen=True)
class Found:
    """What a chip turned out to be.

    Attributes:
        what: For people.
        signals: What its driver would be asked for.
        options: Of its driver, besides `bus`.
        to_fill_in: Options that the chip cannot be asked for, each with what to write;
            with any, its driver cannot be opened yet.
    """

    what: str
    signals: tuple[str, ...]
    options: Mapping[str, object] = field(default_factory=dict)
    to_fill_in: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class I2cProbe:
    """How one driver's chip is recognised.

    Attributes:
        addresses: Where it can be.
        writes: What `ask` writes.
        ask: Returns what the chip is, None where it is another; may raise a DriverError.
    """

    addresses: tuple[int, ...]
    writes: Writes
    ask: Callable[[I2cChip], Awaitable[Found | None]]


@dataclass(frozen=True)
class Sighting:
    """A chip at its address, and the driver that would read it."""

    address: int
    driver: str
    found: Found


@dataclass(frozen=True)
class BusReport:
    """What is on one bus.

    Attributes:
        bus: Its name in station files.
        sightings: Chips recognised, by address.
        strangers: Addresses that gave a byte but are nothing known.
        failure: Why the bus could not be searched to its end, or None.
    """

    bus: str
    sightings: tuple[Sighting, ...]
    strangers: tuple[int, ...]
    failure: str | None = None


def installed_probes(tried: Collection[str] = ()) -> tuple[tuple[str, I2cProbe], ...]:
    """Return driver and probe, for every installed driver that has any.

    Args:
        tried: Drivers whose chips are looked for although that writes settings.
    """
    return tuple(
        (name, probe)
        for name in driver_names()
        for probe in find_spec(name).probes()
        if probe.writes is not Writes.SETTING or name in tried
    )


def drivers_to_be_tried() -> dict[str, tuple[int, ...]]:
    """Return the drivers whose chips are looked for on demand only, and at which addresses."""
    return {
        name: probe.addresses
        for name in driver_names()
        for probe in find_spec(name).probes()
        if probe.writes is Writes.SETTING
    }


async def search(
    bus_name: str, bus: I2cBus, clock: Clock, tried: Collection[str] = ()
) -> BusReport:
    """Look which chips are on a bus; never raises a DriverError.

    Args:
        bus_name: Its name in station files.
        bus: The bus.
        clock: Whose time is waited by.
        tried: Drivers whose chips are looked for although that writes settings.
    """
    seen: list[Sighting] = []
    probes = sorted(installed_probes(tried), key=lambda named: named[1].writes)
    giving: list[int] = []
    failure = None
    try:
        for address in sorted({address for _, probe in probes for address in probe.addresses}):
            if await _gives_a_byte(I2cChip("probe", bus, bus_name, address, clock)):
                giving.append(address)
        for driver, probe in probes:
            for address in probe.addresses:
                chip = I2cChip(driver, bus, bus_name, address, clock)
                if _may_be_asked(probe, address, giving, seen):
                    found = await _ask(probe, chip)
                    if found is not None:
                        seen.append(Sighting(address, driver, found))
    except DriverError as error:
        failure = str(error)
    known = {sighting.address for sighting in seen}
    seen.sort(key=lambda sighting: (sighting.address, sighting.driver))
    strangers = tuple(address for address in giving if address not in known)
    return BusReport(bus_name, tuple(seen), strangers, failure)


def _may_be_asked(probe: I2cProbe, address: int, giving: list[int], seen: list[Sighting]) -> bool:
    if probe.writes is Writes.NOTHING:
        return True
    is_known = any(
        sighting.address == address and _rank(sighting) < probe.writes for sighting in seen
    )
    if probe.writes is Writes.SETTING:
        return not is_known
    return not is_known and (address in giving) is (probe.writes is Writes.REGISTER)


def _rank(sighting: Sighting) -> Writes:
    ranks: list[Writes] = [
        probe.writes
        for probe in find_spec(sighting.driver).probes()
        if sighting.address in probe.addresses
    ]
    return min(ranks)


async def _gives_a_byte(chip: I2cChip) -> bool:
    try:
        await chip.read(1)
    except DriverError as error:
        if error.reason is FailureReason.NACK:
            return False
        raise
    return True


async def _ask(probe: I2cProbe, chip: I2cChip) -> Found | None:
    try:
        return await probe.ask(chip)
    except BadFrame:
        return None
    except DriverError as error:
        if error.reason in (FailureReason.NACK, FailureReason.WRONG_DEVICE):
            return None
        raise
