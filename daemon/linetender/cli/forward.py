"""The verb `forward`: a second box sends its sensors' readings to a station."""

import asyncio
import signal
from contextlib import ExitStack
from pathlib import Path
from typing import Annotated

import typer

from linetender.far_end.forwarder import Forwarder, wanted_by_forwarder
from linetender.runtime.broker_link import BrokerLink
from linetender.runtime.clock import MonotonicClock
from linetender.runtime.incoming import Incoming, Reception
from linetender.runtime.service_manager import service_manager
from linetender.runtime.single_run import SingleRun
from linetender.settings.forward_file import Forwarding, load_forwarding
from linetender_drivers.buses.machine import RealMachine


def forward(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help='This box\'s file, with kind = "forward".')
    ],
) -> None:
    """Send this box's sensors to a station over the broker, until Ctrl-C or SIGTERM.

    For an oximeter whose radio does not reach the box beside the fan. Nothing is watched
    here, and nothing sounds here: that is the station's part, and a remote sounder's.

    Exit status: 0 stopped, 2 usage, 3 bad file, 5 this box forwards already.

    Example: linetender forward bench.toml
    """
    forwarding = load_forwarding(file)
    _refuse_simulated(forwarding)
    incoming, clock = Incoming(), MonotonicClock()
    with ExitStack() as stack:
        stack.enter_context(SingleRun(f"{forwarding.station}-forward-{forwarding.box}"))
        link = BrokerLink(
            forwarding.broker,
            forwarding.station,
            clock,
            folder=file.parent,
            box=forwarding.box,
            forwards=True,
            reception=Reception(wanted_by_forwarder(forwarding.station), incoming.put),
        )
        signals = [each.value for device in forwarding.devices for each in device.signals]
        typer.echo(
            f"Forwarding {', '.join(signals)} from {forwarding.box} to {forwarding.station}. "
            "Nothing is watched here."
        )
        stack.callback(link.stop)
        link.start()
        asyncio.run(_run(forwarding, link, clock, incoming))
    typer.echo("Stopped.")


def _refuse_simulated(forwarding: Forwarding) -> None:
    simulated = [each.name for each in forwarding.devices if each.options.is_simulated]
    if simulated:
        raise typer.BadParameter(
            f"{forwarding.path} names simulated devices ({', '.join(simulated)}), and invented "
            "readings must not reach a station; name real ones"
        )


async def _run(
    forwarding: Forwarding, link: BrokerLink, clock: MonotonicClock, incoming: Incoming
) -> None:
    machine = RealMachine(clock)
    publish, manager = link.publish, service_manager()
    try:
        forwarder = Forwarder(forwarding, machine, clock, publish, incoming, typer.echo, manager)
        running = asyncio.ensure_future(forwarder.run())
        loop = asyncio.get_running_loop()
        for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
            loop.add_signal_handler(number, running.cancel)
        await asyncio.wait({running})
        if not running.cancelled():
            running.result()
    finally:
        if manager is not None:
            manager.stopping()
        machine.close()
