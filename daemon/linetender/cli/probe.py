"""The verb `probe`: what is there, before a station file names it."""

import asyncio
import json
import math
from pathlib import Path
from typing import Annotated, NamedTuple

import typer

from linetender.cli.exit_codes import ExitCode
from linetender.cli.probe_report import Findings, as_object, lines
from linetender.cli.probe_search import (
    HEADER_BUS,
    Around,
    header_buses,
    look_for_oximeters,
    look_for_peer,
    look_for_pins,
    other_buses,
    read_all,
    search_buses,
)
from linetender.cli.served_station import open_world, say_if_held
from linetender.runtime.clock import MonotonicClock
from linetender.simulation.full_bench import full_bench
from linetender_drivers.buses.machine import RealMachine
from linetender_drivers.contracts import Machine
from linetender_drivers.errors import DeviceNotFound
from linetender_drivers.i2c_probe import drivers_to_be_tried
from linetender_drivers.simulated.machine import SIMULATED
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual
from linetender_drivers.simulated_place import world_at


class How(NamedTuple):
    """How a search is made.

    Attributes:
        radio: Whether oximeters are listened for.
        tried: Drivers whose chips are looked for although that writes settings.
    """

    radio: bool
    tried: tuple[str, ...]


def _finite(seconds: float | None) -> float | None:
    if seconds is not None and not math.isfinite(seconds):
        raise typer.BadParameter("must be a finite number of seconds")
    return seconds


Address = Annotated[
    str | None,
    typer.Option("--listen", metavar="ADDRESS", help="Show all that a radio device sends."),
]
Save = Annotated[
    Path | None,
    typer.Option("--save", metavar="FILE", help="With --listen: keep it, for lint --against."),
]
Seconds = Annotated[
    float | None,
    typer.Option(
        "--seconds",
        metavar="SECONDS",
        min=0.1,
        callback=_finite,
        help="With --listen: end after so long.",
    ),
]
One = Annotated[
    str | None,
    typer.Option("--characteristic", metavar="UUID", help="With --listen: this one only."),
]
Start = Annotated[
    str | None,
    typer.Option(
        "--start", metavar="UUID=OCTETS", help="With --listen: write this after subscribing."
    ),
]


Buses = Annotated[
    list[str] | None,
    typer.Option("--bus", metavar="NODE", help="Search this bus: /dev/i2c-1, or simulated:DIR."),
]
Simulate = Annotated[
    bool, typer.Option("--simulate", help="Search a simulated bench; no hardware needed.")
]
NoRadio = Annotated[bool, typer.Option("--no-radio", help="Do not look for oximeters.")]
Try = Annotated[
    list[str] | None,
    typer.Option(
        "--try",
        metavar="DRIVER",
        help="Look for this driver's chip too, which writes settings to its addresses.",
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print what was found as one JSON object.")]


def probe(
    listen_to: Address = None,
    save: Save = None,
    seconds: Seconds = None,
    characteristic: One = None,
    start: Start = None,
    bus: Buses = None,
    simulate: Simulate = False,
    no_radio: NoRadio = False,
    try_drivers: Try = None,
    as_json: AsJson = False,
) -> None:
    """Find the sensors that are wired or in range, read them, and suggest a station file.

    Nothing is sent that another chip could take for a write, unless --try asks for it; what
    is not recognised is left alone. Stop a running linetender first: it owns the bus. With
    --listen, show instead what one oximeter sends, so that you can describe its packets.

    Exit status: 0 ended, 2 usage, 3 the file cannot be written, 4 no bus, or the device
    is not heard.

    Example: linetender probe --simulate

    Example: linetender probe --listen C0:FF:EE:00:18:22 --save heard.jsonl
    """
    if listen_to is None:
        _refuse(save, seconds, characteristic, start)
        how = How(radio=not no_radio, tried=_triable(try_drivers or []))
        _search(bus or [], how, simulate=simulate, as_json=as_json)
        return
    from linetender.cli.listen import listen  # loads the Bluetooth library, so only here

    listen(
        listen_to,
        typer.echo,
        save=save,
        seconds=seconds,
        characteristic=characteristic,
        start=start,
    )


def _refuse(*given: object) -> None:
    if any(value is not None for value in given):
        raise typer.BadParameter("that option goes with --listen ADDRESS")


def _triable(drivers: list[str]) -> tuple[str, ...]:
    known = drivers_to_be_tried()
    for driver in drivers:
        if driver not in known:
            raise typer.BadParameter(
                f"--try is for {', '.join(known)}; all other chips are looked for anyway"
            )
    return tuple(drivers)


def _search(buses: list[str], how: How, *, simulate: bool, as_json: bool) -> None:
    chosen = buses or list(header_buses())
    worlds = [bus for bus in chosen if world_at(bus) is not None]
    if simulate:
        findings = search_simulated(how)
    elif worlds:
        if len(chosen) > 1:
            raise typer.BadParameter("a served world is searched alone; name one --bus")
        findings = search_served(Path("station.toml"), worlds[0], how)
        simulate = True
    else:
        if not chosen:
            raise DeviceNotFound(str(HEADER_BUS), _no_bus())
        findings = asyncio.run(search_real(chosen, how))
    if as_json:
        typer.echo(json.dumps(as_object(findings), indent=2))
    else:
        _tell(findings, how.tried, simulate=simulate)
    if all(report.failure and not report.sightings for report in findings.buses):
        raise typer.Exit(ExitCode.DEVICE)


def _tell(findings: Findings, tried: tuple[str, ...], *, simulate: bool) -> None:
    for line in lines(findings):
        typer.echo(line)
    for driver, addresses in drivers_to_be_tried().items():
        if driver not in tried:
            typer.echo(
                f"\nNot looked for: {driver}, which has no identifier and gives nothing before "
                f"settings are written to it; another chip at 0x{addresses[0]:02x} to "
                f"0x{addresses[-1]:02x} might store them. With none there: probe --try {driver}"
            )
    unsearched = () if simulate else other_buses([report.bus for report in findings.buses])
    if unsearched:
        typer.echo(f"\nNot searched, for --bus: {', '.join(unsearched)}")


def _no_bus() -> str:
    others = ", ".join(other_buses(())) or "none"
    return (
        "there is no such bus; enable I2C (on a Raspberry Pi: `sudo raspi-config nonint "
        f"do_i2c 0`, then restart). Other buses, for --bus: {others}. Without hardware: "
        "linetender probe --simulate"
    )


async def search_real(buses: list[str], how: How) -> Findings:
    """Search buses, pins and radio of this computer."""
    machine = RealMachine(MonotonicClock())
    try:
        oximeters = await look_for_oximeters() if how.radio else None
        return await _found(machine, buses, "gpio", oximeters, how.tried)
    finally:
        machine.close()


def search_simulated(how: How) -> Findings:
    """Search the simulated bench."""
    return run_virtual(_simulated(how.tried))


async def _simulated(tried: tuple[str, ...]) -> Findings:
    return await _found(full_bench(VirtualClock()), [SIMULATED], SIMULATED, None, tried)


def search_served(path: Path, bus: str, how: How) -> Findings:
    """Search a world that `linetender simulate` serves.

    Args:
        path: A station file; a relative folder is meant from where it lies.
        bus: `simulated:DIR`.
        how: How to search.

    Raises:
        WorldGone: no world is served there.
    """
    world = open_world(path, world_at(bus) or "", "probe")

    say_if_held(world)

    async def search() -> Findings:
        oximeter = await look_for_peer(world.machine, bus) if how.radio else None
        return await _found(world.machine, [bus], bus, oximeter, how.tried)

    return world.run(search())


async def _found(
    machine: Machine, buses: list[str], chip: str, radio: Around | None, tried: tuple[str, ...]
) -> Findings:
    reports = await search_buses(machine, buses, tried)
    readings = await read_all(machine, reports)
    return Findings(reports, readings, look_for_pins(machine, chip), radio)
