"""The verb `remote-sounder`: the second box."""

import asyncio
import signal
from contextlib import ExitStack
from pathlib import Path
from typing import Annotated

import typer

from linetender.annunciation.cautions import CAUTIONS
from linetender.cli.line_thread import LineThread
from linetender.cli.run import lines_of
from linetender.cli.state_folder import state_folder
from linetender.far_end.box_memory import BoxMemory
from linetender.far_end.sounder import Fittings, SounderBox, wanted_by_box
from linetender.far_end.terminal import Keyboard, TerminalBuzzer
from linetender.runtime.broker_link import BrokerLink
from linetender.runtime.clock import MonotonicClock
from linetender.runtime.incoming import Incoming, Reception
from linetender.runtime.service_manager import service_manager
from linetender.runtime.single_run import SingleRun
from linetender.settings.sounder_file import Sounder, load_sounder
from linetender_drivers.buses.machine import RealMachine


def remote_sounder(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The box's own file.")],
    terminal: Annotated[
        bool,
        typer.Option(
            "--terminal", help="The terminal's bell sounds too; any key answers, h calls for help."
        ),
    ] = False,
    state: Annotated[
        Path | None,
        typer.Option("--state", metavar="FOLDER", help="Keep the last stage of stations here."),
    ] = None,
) -> None:
    """Sound what stations say, and their silence while in use, until Ctrl-C or SIGTERM.

    Exit status: 0 stopped, 2 usage, 3 bad file, 4 a device is missing or another than the
    file says, 5 this box runs already.

    Example: linetender remote-sounder bench.toml --terminal
    """
    sounder = load_sounder(file, terminal=terminal)
    with ExitStack() as stack:
        lines = lines_of(stack)
        stack.enter_context(SingleRun(f"far-{sounder.name}"))
        memory = BoxMemory(state_folder(state, f"far-{sounder.name}"))
        stack.callback(memory.close)
        for caution in CAUTIONS:
            lines.put(f"• {caution.short}")
        _sound(stack, sounder, lines, memory, terminal=terminal)
        lines.put("Stopped. This box sounds nothing now.")


def _sound(
    stack: ExitStack, sounder: Sounder, lines: LineThread, memory: BoxMemory, *, terminal: bool
) -> None:
    clock, incoming = MonotonicClock(), Incoming()
    links = _links(sounder, clock, incoming)
    for link in links.values():
        stack.callback(link.stop)
    machine = RealMachine(clock)
    stack.callback(machine.close)
    bell = TerminalBuzzer(lines.put, clock)
    fittings = Fittings(
        machine,
        clock,
        incoming,
        {name: link.publish for name, link in links.items()},
        memory,
        say=bell.say,
        extra=((bell, bell),) if terminal else (),
        keys=Keyboard(clock).watch if terminal else None,
        manager=service_manager(),
    )
    asyncio.run(_run(sounder, fittings, links))


def _links(sounder: Sounder, clock: MonotonicClock, incoming: Incoming) -> dict[str, BrokerLink]:
    return {
        one.id: BrokerLink(
            sounder.broker,
            one.id,
            clock,
            folder=sounder.path.parent,
            box=sounder.name,
            reception=Reception(wanted_by_box(one.id), incoming.put),
        )
        for one in sounder.stations
    }


async def _run(sounder: Sounder, fittings: Fittings, links: dict[str, BrokerLink]) -> None:
    box = SounderBox(sounder, fittings)
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        loop.add_signal_handler(number, box.stop)
    for link in links.values():
        link.start()
    await box.run()
