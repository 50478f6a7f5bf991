"""What `init` can choose from: pressure sensors and oximeters that a search finds."""

import asyncio
from pathlib import Path
from typing import NamedTuple

from linetender.cli.init_file import Sensor
from linetender.cli.probe import How, search_real, search_served, search_simulated
from linetender.cli.probe_report import Findings
from linetender.cli.probe_search import HEADER_BUS, header_buses
from linetender_drivers.simulated.machine import SIMULATED
from linetender_drivers.simulated_place import is_simulated, world_at

PRESSURES = frozenset({"duct_pressure_pa", "hood_pressure_pa"})

UNSEEN = {f"sdp8xx@0x{address:02x}": Sensor("sdp8xx", address) for address in (0x25, 0x26)}
"""Can be chosen although nothing was found: an SDP8xx comes with either address."""


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


def look_around(bus: str | None, path: Path, *, search: bool, radio: bool) -> Choice:
    """Search a bus and the radio; without hardware, nothing is found, and that is told.

    Args:
        bus: Its name, `simulated:DIR` for a served world; None for the header's.
        path: The station file to be written; a relative DIR is meant from where it lies.
        search: Whether to search at all.
        radio: Whether to look for oximeters.
    """
    named = bus or str(HEADER_BUS)
    chip = named if is_simulated(named) else None
    if not search:
        return Choice(named, chip, dict(UNSEEN), {}, ("Nothing was searched, as you wished.",))
    how = How(radio=radio, tried=())
    if world_at(named) is not None:
        return _chosen_of(named, chip, search_served(path, named, how))
    if named == SIMULATED:
        return _chosen_of(named, chip, search_simulated(how))
    if not Path(named).exists() and bus is None and not header_buses():
        told = f"There is no I2C bus on this computer ({named}), so nothing was searched."
        return Choice(named, chip, dict(UNSEEN), {}, (told,))
    return _chosen_of(named, chip, asyncio.run(search_real([named], how)))


def _chosen_of(bus: str, chip: str | None, findings: Findings) -> Choice:
    sensors, told = dict[str, Sensor](), list[str]()
    for report in findings.buses:
        if report.failure:
            told.append(f"The search of {report.bus} stopped: {report.failure}.")
        for sighting in report.sightings:
            found = sighting.found
            if not PRESSURES & set(found.signals):
                continue
            word = f"{sighting.driver}@0x{sighting.address:02x}"
            if found.to_fill_in:
                told.append(
                    f"Found {word}, {found.what}: it is not offered here, because it cannot say "
                    f"its {', '.join(found.to_fill_in)}; `linetender probe` prints its lines."
                )
                continue
            reads_pa = _reading(findings, sighting)
            sensors[word] = Sensor(sighting.driver, sighting.address, found.options, reads_pa)
            now = "" if reads_pa is None else f"; it reads {reads_pa:.3g} Pa now"
            told.append(f"Found {word}, {found.what}{now}.")
    if not sensors:
        told.append("Found no pressure sensor: check its plug and supply, or choose one unseen.")
    oximeters = dict(findings.radio.found) if findings.radio else {}
    told += [f"Found an oximeter, {address} ({name})." for address, name in oximeters.items()]
    return Choice(bus, chip, sensors | _unseen_beside(sensors), oximeters, tuple(told))


def _unseen_beside(sensors: dict[str, Sensor]) -> dict[str, Sensor]:
    return {word: sensor for word, sensor in UNSEEN.items() if word not in sensors}


def _reading(findings: Findings, sighting: object) -> float | None:
    values = (
        one.value
        for reading in findings.readings
        if reading.sighting is sighting
        for one in reading.measurements
        if one.signal in PRESSURES
    )
    return next(values, None)
