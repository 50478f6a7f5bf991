"""How `probe` tells what it found: for people, as station-file lines, and as JSON."""

from collections.abc import Iterator, Sequence
from typing import Any

import msgspec

from linetender.cli.probe_search import Around, Reading, options_at
from linetender_drivers.i2c_probe import BusReport, Sighting
from linetender_drivers.measurements import Measurement


class Findings(msgspec.Struct, frozen=True):
    """All that a search found."""

    buses: tuple[BusReport, ...]
    readings: tuple[Reading, ...]
    pins: Around
    radio: Around | None


def quality(one: Measurement) -> str:
    """Return `good`, `doubtful (why)` or `bad (why)`."""
    if one.value is None:
        return f"bad ({one.reason})"
    return f"doubtful ({one.doubt})" if one.doubt else "good"


def lines(findings: Findings) -> Iterator[str]:
    """Yield what was found, for people; the lines to paste last."""
    for report in findings.buses:
        yield f"I2C bus {report.bus}"
        yield from _lines_of_bus(report, findings.readings)
    yield from _lines_of_pins(findings.pins)
    if findings.radio is not None:
        yield from _lines_of_radio(findings.radio)
    suggested = [line for table in suggestions(findings) for line in ("", *table)]
    if suggested:
        yield ""
        yield "To paste into a station file: keep what you need, one source for each signal,"
        yield "and name each signal for where its sensor is."
        yield from suggested


def _lines_of_bus(report: BusReport, readings: Sequence[Reading]) -> Iterator[str]:
    for sighting in report.sightings:
        yield f"  0x{sighting.address:02x}  {sighting.found.what}  [driver {sighting.driver}]"
        for reading in readings:
            if reading.sighting is sighting:
                yield from _lines_of_reading(reading)
    for address in report.strangers:
        yield f"  0x{address:02x}  something that no driver here recognises; it was left alone"
    if report.failure:
        yield f"  the search stopped: {report.failure}"
    elif not report.sightings:
        yield "  no chip that a driver here recognises; check plug and supply"


def _lines_of_reading(reading: Reading) -> Iterator[str]:
    for one in reading.measurements:
        value = "no value" if one.value is None else f"{one.value:.5g}"
        yield f"        {one.signal:<26} {value:>10}  {quality(one)}"
    if reading.failure:
        yield f"        cannot be read: {reading.failure}"


def _lines_of_pins(pins: Around) -> Iterator[str]:
    yield "Pins"
    for chip, what in pins.found.items():
        yield f'  chip = "{chip}"  {what}'
    if pins.failure:
        yield f"  none: {pins.failure}"


def _lines_of_radio(radio: Around) -> Iterator[str]:
    yield "Oximeters by radio"
    for address, name in radio.found.items():
        yield f"  {address}  {name or '(no name)'}"
    if radio.failure:
        yield f"  not searched: {radio.failure}"
    elif not radio.found:
        yield "  none that offers the standard service; wear it, switch it on, come nearer"


def suggestions(findings: Findings) -> Iterator[list[str]]:
    """Yield one table of a station file for each thing found."""
    for report in findings.buses:
        for sighting in report.sightings:
            yield _table(report.bus, sighting)
    for number, address in enumerate(findings.radio.found if findings.radio else ()):
        yield [
            f"[devices.oximeter{number + 1 if number else ''}]",
            'driver = "plx_oximeter"',
            'signals = ["spo2_percent", "pulse_rate_bpm"]',
            f'options = {{ address = "{address}" }}',
        ]


def _table(bus: str, sighting: Sighting) -> list[str]:
    options = [f'bus = "{bus}"']
    for key, value in options_at(sighting).items():
        is_address = key == "address" and isinstance(value, int)
        options.append(f"{key} = 0x{value:02x}" if is_address else f"{key} = {_toml(value)}")
    signals = ", ".join(f'"{signal}"' for signal in sighting.found.signals)
    table = [
        f"[devices.{sighting.driver}_{sighting.address:02x}]",
        f'driver = "{sighting.driver}"',
        f"signals = [{signals}]",
        f"options = {{ {', '.join(options)} }}",
    ]
    asked = sighting.found.to_fill_in.items()
    return table + [f"# to be added to the options: {key} = … ({what})" for key, what in asked]


def _toml(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value)


def as_object(findings: Findings) -> dict[str, Any]:
    """Return what was found for machines: buses, pins, radio (null: not searched)."""
    return {
        "buses": [_bus_object(report, findings.readings) for report in findings.buses],
        "pins": msgspec.to_builtins(findings.pins),
        "radio": msgspec.to_builtins(findings.radio),
        "station_file": "\n\n".join("\n".join(table) for table in suggestions(findings)),
    }


def _bus_object(report: BusReport, readings: Sequence[Reading]) -> dict[str, Any]:
    chips = []
    for sighting in report.sightings:
        mine = [reading for reading in readings if reading.sighting is sighting]
        chips.append(
            {
                "address": sighting.address,
                "driver": sighting.driver,
                "what": sighting.found.what,
                "to_fill_in": dict(sighting.found.to_fill_in),
                "values": [
                    {"signal": one.signal, "value": one.value, "quality": quality(one)}
                    for reading in mine
                    for one in reading.measurements
                ],
                "failure": next((reading.failure for reading in mine), None),
            }
        )
    return {
        "bus": report.bus,
        "chips": chips,
        "strangers": list(report.strangers),
        "failure": report.failure,
    }
