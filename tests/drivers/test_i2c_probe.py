"""Searching a bus: what is found, and that nothing foreign is ever written to."""

import pytest

from linetender.simulation.full_bench import full_bench
from linetender_drivers.i2c_probe import (
    BusReport,
    Writes,
    drivers_to_be_tried,
    installed_probes,
    search,
)
from linetender_drivers.simulated.i2c_bus import BusFault, FaultKind, SimulatedI2cBus, Transfer
from linetender_drivers.simulated.scd4x_chip import Scd4xChip
from linetender_drivers.simulated.sdp8xx_chip import Sdp8xxChip
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

KNOWN = sorted({address for _, probe in installed_probes() for address in probe.addresses})


class OutputPort:
    """Gives its level as often as it is asked, and takes every byte for a new level."""

    def write(self, data: bytes, now_ns: int) -> None:
        raise AssertionError(f"an output port was set to {data.hex()}")

    def read(self, length: int, now_ns: int) -> bytes:
        return b"\xa5" * length


class PointedMemory:
    """A memory with a pointer of one byte; a second byte written would be stored."""

    def write(self, data: bytes, now_ns: int) -> None:
        assert len(data) == 1, f"{data.hex()} was stored"

    def read(self, length: int, now_ns: int) -> bytes:
        return bytes(length)


def searched(bus: SimulatedI2cBus) -> BusReport:
    return run_virtual(search("simulated", bus, VirtualClock()))


def recording_bus(**chips: object) -> SimulatedI2cBus:
    bus = SimulatedI2cBus(VirtualClock(), keep_transfers=True)
    for place, chip in chips.items():
        bus.attach(int(place.removeprefix("at_"), 16), chip)  # type: ignore[arg-type]
    return bus


def test_every_kind_of_chip_that_can_be_asked_is_recognised() -> None:
    report = searched(full_bench(VirtualClock()).i2c("simulated"))
    assert [(sighting.address, sighting.driver) for sighting in report.sightings] == [
        (0x25, "sdp8xx"),
        (0x28, "hsc"),
        (0x28, "ms4525do"),
        (0x40, "ina219"),
        (0x44, "ina226"),
        (0x48, "ads1115_co_cell"),
        (0x48, "ads1115_pressure"),
        (0x61, "scd30"),
        (0x62, "scd4x"),
        (0x76, "bme280"),
        (0x77, "bmp280"),
    ]
    assert (report.strangers, report.failure) == ((), None)


def test_an_output_port_at_a_sensors_address_is_read_and_never_set() -> None:
    pointed = {
        address
        for _, probe in installed_probes()
        if probe.writes is Writes.REGISTER
        for address in probe.addresses
    }
    commanded = [address for address in KNOWN if address not in pointed]
    assert {0x21, 0x22, 0x23, 0x25, 0x26, 0x28, 0x61, 0x62} <= set(commanded)
    bus = recording_bus(**{f"at_{address:x}": OutputPort() for address in commanded})
    report = searched(bus)
    assert report.sightings == ()
    assert report.strangers == tuple(commanded)


def test_a_memory_is_given_no_more_than_a_pointer() -> None:
    bus = recording_bus(**{f"at_{address:x}": PointedMemory() for address in KNOWN})
    report = searched(bus)
    assert report.sightings == ()
    assert report.strangers == tuple(KNOWN)
    assert {len(transfer.write) for transfer in bus.transfers} == {0, 1}


def test_commands_go_only_where_a_read_was_refused() -> None:
    bus = recording_bus(at_62=Scd4xChip(), at_25=Sdp8xxChip())
    searched(bus)
    first: dict[int, Transfer] = {}
    for transfer in bus.transfers:
        first.setdefault(transfer.address, transfer)
    assert {(one.write, one.ok) for one in first.values()} == {(b"", False)}
    commands = {(one.address, one.write) for one in bus.transfers if len(one.write) > 1}
    asked = {(address, bytes.fromhex("367c")) for address in (0x21, 0x22, 0x23, 0x25, 0x26)}
    asked |= {(0x25, bytes.fromhex("e102")), (0x61, bytes.fromhex("d100"))}
    assert commands == asked | {(0x62, bytes.fromhex("3682"))}


@pytest.mark.parametrize(
    ("address", "chip", "start", "what"),
    [
        (0x25, Sdp8xxChip(), "3615", "SDP8xx or SDP3x that measures already"),
        (0x62, Scd4xChip(), "21b1", "SCD4x that measures already"),
    ],
)
def test_a_chip_that_was_left_measuring_is_recognised(address, chip, start, what) -> None:
    async def scene() -> BusReport:
        clock = VirtualClock()
        bus = SimulatedI2cBus(clock)
        bus.attach(address, chip)
        await bus.transfer(address, bytes.fromhex(start), 0)
        await clock.sleep(6.0)
        return await search("simulated", bus, clock)

    assert [one.found.what for one in run_virtual(scene()).sightings] == [what]


def test_a_d6f_ph_is_looked_for_on_demand_only() -> None:
    clock = VirtualClock()
    bus = full_bench(clock).i2c("simulated")
    unasked = {one.address for one in searched(bus).sightings}
    asked = run_virtual(search("simulated", bus, clock, ["d6f_ph"]))
    (more,) = [one for one in asked.sightings if one.address not in unasked]
    assert (more.address, more.driver) == (0x6C, "d6f_ph")
    assert (more.found.what, list(more.found.to_fill_in)) == (
        "answers as a D6F-PH does, at 25.0 °C",
        ["product"],
    )
    assert drivers_to_be_tried() == {"d6f_ph": (0x6C, 0x6D, 0x6E, 0x6F)}


def test_what_takes_a_d6f_phs_settings_but_answers_otherwise_is_none() -> None:
    class Obedient:
        """Takes all and gives a word without a CRC."""

        def write(self, data: bytes, now_ns: int) -> None:
            pass

        def read(self, length: int, now_ns: int) -> bytes:
            return b"\x2a" * length

    bus = recording_bus(at_6d=Obedient())
    clock = VirtualClock()
    assert run_virtual(search("simulated", bus, clock, ["d6f_ph"])).sightings == ()
    assert {one.address for one in bus.transfers if one.write[:1] == b"\x0b"} == {
        0x6C,
        0x6D,
        0x6E,
        0x6F,
    }


def test_a_stuck_bus_ends_the_search_with_its_reason() -> None:
    bus = full_bench(VirtualClock()).i2c("simulated")
    bus.faults.append(BusFault(FaultKind.STUCK))
    report = searched(bus)
    assert report.sightings == ()
    assert report.failure is not None
    assert "holds a line low" in report.failure
