"""What `init` can choose from: pressure sensors and oximeters that a search finds."""

import asyncio
from pathlib import Path
from typing import NamedTuple

from linetender.cli.init_sensors import Sensor, asked_options, has_address, unseen_sensors
from linetender.cli.probe import How, search_real, search_served, search_simulated
from linetender.cli.probe_report import Findings
from linetender.cli.probe_search import HEADER_BUS, header_buses
from linetender_drivers.simulated.machine import SIMULATED
from linetender_drivers.simulated_place import is_simulated, world_at

PRESSURES = frozenset({"duct_pressure_pa", "hood_pressure_pa"})


class Choice(NamedTuple):
    """What there is.

    Attributes:
        bus: As the station file names it.
        chip: Of the pins, None for the header.
        sensors: By the word that chooses each; what was found comes first.
        oximeters: By address, their names.
        told: What was found, in words.
    """

    bus: str
    chip: str | None
    sensors: dict[str, Sensor]
    oximeters: dict[str, str]
    told: tuple[str, ...]

    @property
    def place(self) -> str | None:
        """The simulated place that devices are in, or None."""
        return self.chip


def look_around(bus: str | None, path: Path, *, search: bool, minimal: bool) -> Choice:
    """Search a bus and the radio; without hardware, nothing is found, and that is told.

    Args:
        bus: Its name, `simulated:DIR` for a served world; None for the header's.
        path: The station file to be written; a relative DIR is meant from where it lies.
        search: Whether to search at all.
        minimal: Whether only sensors are wanted that nothing more is asked of, and no oximeters.
    """
    named = bus or str(HEADER_BUS)
    chip = named if is_simulated(named) else None
    if not search:
        told = "Nothing was searched, as you wished."
        return Choice(named, chip, unseen_sensors(minimal=minimal), {}, (told,))
    how = How(radio=not minimal, tried=())
    if world_at(named) is not None:
        return _chosen_of(named, chip, search_served(path, named, how), minimal=minimal)
    if named == SIMULATED:
        return _chosen_of(named, chip, search_simulated(how), minimal=minimal)
    if not Path(named).exists() and bus is None and not header_buses():
        told = f"There is no I2C bus on this computer ({named}), so nothing was searched."
        return Choice(named, chip, unseen_sensors(minimal=minimal), {}, (told,))
    return _chosen_of(named, chip, asyncio.run(search_real([named], how)), minimal=minimal)


def _chosen_of(bus: str, chip: str | None, findings: Findings, *, minimal: bool) -> Choice:
    sensors, told = dict[str, Sensor](), list[str]()
    for report in findings.buses:
        if report.failure:
            told.append(f"The search of {report.bus} stopped: {report.failure}.")
        for sighting in report.sightings:
            found = sighting.found
            if not PRESSURES & set(found.signals):
                continue
            address = sighting.address if has_address(sighting.driver) else None
            reads_pa = _reading(findings, sighting)
            sensor = Sensor(sighting.driver, address, found.options, reads_pa)
            asked = frozenset[str]() if minimal else asked_options(sighting.driver)
            if not asked.issuperset(found.to_fill_in):
                told.append(
                    f"Found {sensor.word}, {found.what}: it is not offered here, because it cannot "
                    f"say its {', '.join(found.to_fill_in)}; `linetender probe` prints its lines."
                )
                continue
            sensors[sensor.word] = sensor
            now = "" if reads_pa is None else f"; it reads {reads_pa:.3g} Pa now"
            told.append(f"Found {sensor.word}, {found.what}{now}.")
    if not sensors:
        told.append("Found no pressure sensor: check its plug and supply, or choose one unseen.")
    oximeters = dict(findings.radio.found) if findings.radio else {}
    told += [f"Found an oximeter, {address} ({name})." for address, name in oximeters.items()]
    unseen = unseen_sensors(minimal=minimal)
    others = {word: sensor for word, sensor in unseen.items() if word not in sensors}
    return Choice(bus, chip, sensors | others, oximeters, tuple(told))


def _reading(findings: Findings, sighting: object) -> float | None:
    values = (
        one.value
        for reading in findings.readings
        if reading.sighting is sighting
        for one in reading.measurements
        if one.signal in PRESSURES
    )
    return next(values, None)
