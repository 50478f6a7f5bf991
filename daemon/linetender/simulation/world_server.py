"""Serves a simulated world from a folder, so that several programs can share it."""

import asyncio
import fcntl
import os
import socket
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any, TextIO

from linetender.simulation.gated_time import Gate
from linetender.simulation.hands import play
from linetender.simulation.knobs import NS_PER_S
from linetender.simulation.scenario import Scenario
from linetender.simulation.script import Order
from linetender.simulation.script_hands import ScriptHands, ServedRig
from linetender.simulation.served_guest import Guest
from linetender.simulation.world import World
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.pins import OutputEdge
from linetender_drivers.simulated.virtual_time import VirtualClock
from linetender_drivers.simulated.world_wire import SOCKET_NAME
from linetender_drivers.socket_path import short_path

EDGES_NAME = "edges.csv"
LOCK_NAME = "lock"

KEEP_UP_S = 0.25
"""Devices whose state follows a knob that moves slowly are looked at so often."""


class AlreadyServed(RuntimeError):
    """Another process serves a world from this folder."""


class WorldServer:
    """One world and all who are connected to it.

    Args:
        scenario: What its line is, and what happens by itself.
        folder: Where it is served from; made if need be.
        gate: Who holds its time: that of the running loop.
        seed: Another seed, another noise.
        say: Told in a line what a scenario's person would say to the station.

    Attributes:
        gate: As given.
        machine: Its devices.
        hands: What scripts do to it.
        epoch: Time of day at its instant 0, ISO 8601.
        guests: All who are connected.
    """

    def __init__(
        self, scenario: Scenario, folder: Path, gate: Gate, seed: int, say: Callable[[str], None]
    ) -> None:
        self.gate = gate
        self.machine = SimulatedMachine(VirtualClock())
        self.epoch = datetime.now().astimezone().isoformat(timespec="milliseconds")
        self.guests: set[Guest] = set()
        self._scenario = scenario
        self._folder = folder
        self._seed = seed
        self._say = say
        self._stopping = asyncio.Event()

    async def serve(self, ready: Callable[[], None]) -> None:
        """Serve until `stop` is called.

        Args:
            ready: Called once stations can connect.

        Raises:
            AlreadyServed: another process serves a world from this folder.
            OSError: nothing can be written there.
        """
        world = World(self._seed, self._scenario.figures)
        self._rig = ServedRig(world, self.machine, seed=self._seed)
        self.hands = ScriptHands(self._rig, self.gate)
        self._folder.mkdir(parents=True, exist_ok=True)
        with ExitStack() as stack:
            stack.enter_context(_owned(self._folder))
            edges = stack.enter_context((self._folder / EDGES_NAME).open("w", buffering=1))
            edges.write("time_ns,gpio,level\n")
            self.machine.simulated_pins.on_output = lambda edge: self._note(edge, edges)
            server = await self._listen(stack)
            works = [asyncio.create_task(self._play()), asyncio.create_task(self._keep_up())]
            ready()
            await self._stopping.wait()
            server.close()
            for work in works:
                work.cancel()
            await asyncio.gather(*works, return_exceptions=True)
            for guest in tuple(self.guests):
                guest.close()
            await asyncio.sleep(0)  # what was said last shall still be sent

    def stop(self) -> None:
        """End the world."""
        self._stopping.set()

    def look(self) -> dict[str, Any]:
        """Return how the world is."""
        stations = [
            {"name": guest.name, "waiting": guest.is_waiting}
            for guest in self.guests
            if guest.name is not None
        ]
        stations.sort(key=lambda station: str(station["name"]))
        return {"scenario": self._scenario.name, "stations": stations, **self.hands.look()}

    def _note(self, edge: OutputEdge, edges: TextIO) -> None:
        edges.write(f"{edge.at_ns},{edge.gpio},{int(edge.high)}\n")
        self.hands.note_output(edge)

    async def _play(self) -> None:
        await play(self._scenario.script, self._rig, self._tell_order)

    def _tell_order(self, order: Order) -> None:
        at_s = self.machine.clock.now_ns() / NS_PER_S
        verb = order.value.replace("_", "-")
        self._say(f"{at_s:.1f} s  Now the scenario's person says: linetender {verb}")

    async def _keep_up(self) -> None:
        while True:
            await self.machine.clock.sleep(KEEP_UP_S)
            self._rig.keep_up()

    async def _listen(self, stack: ExitStack) -> asyncio.Server:
        path = self._folder / SOCKET_NAME
        # Under its own name only once it answers.
        unready = path.with_suffix(".new")
        unready.unlink(missing_ok=True)
        listening = socket.socket(socket.AF_UNIX)
        with short_path(unready) as name:
            listening.bind(name)
        unready.chmod(0o600)
        loop = asyncio.get_running_loop()
        server = await loop.create_unix_server(lambda: Guest(self), sock=listening)
        unready.rename(path)
        stack.callback(path.unlink, missing_ok=True)
        return server


@contextmanager
def _owned(folder: Path) -> Iterator[None]:
    """Hold the folder's lock, which the kernel lets go when its holder ends."""
    descriptor = os.open(folder / LOCK_NAME, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        raise AlreadyServed(f"another process serves a world from {folder}") from error
    else:
        yield
    finally:
        os.close(descriptor)
