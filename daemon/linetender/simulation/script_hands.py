"""The hands of a script in a served world: they press, break and mend, and let time pass."""

import asyncio
from collections.abc import Mapping
from typing import Any, NamedTuple

from linetender.simulation.devices import DEMO_BUTTONS, ButtonWiring, Rig
from linetender.simulation.gated_time import Gate
from linetender.simulation.knobs import START, Knob
from linetender.simulation.named_faults import FAULTS, NamedFault
from linetender.simulation.world import World
from linetender_drivers.simulated.i2c_bus import BusFault
from linetender_drivers.simulated.machine import SIMULATED, SimulatedMachine
from linetender_drivers.simulated.pins import OutputEdge
from linetender_drivers.simulated.virtual_time import NS_PER_S

HOOK_GPIO = 6
"""A contact to ground that is closed while the hood hangs on its hook."""


class ServedRig(Rig):
    """A rig whose hood hangs on a hook with a contact."""

    def __init__(
        self,
        world: World,
        machine: SimulatedMachine,
        buttons: Mapping[str, ButtonWiring] = DEMO_BUTTONS,
        seed: int = 1,
    ) -> None:
        super().__init__(world, machine, buttons, seed)
        self._hangs = True
        machine.simulated_pins.press(HOOK_GPIO)

    def keep_up(self) -> None:
        """Let the hook follow the hood, besides what else hangs on knobs."""
        super().keep_up()
        hangs = self.world.value(Knob.HOOD, self.machine.clock.now_ns()) < 0.5
        if hangs != self._hangs:
            self._hangs = hangs
            pins = self.machine.simulated_pins
            (pins.press if hangs else pins.release)(HOOK_GPIO)


class _AwaitedEdge(NamedTuple):
    gpio: int
    high: bool
    came: asyncio.Event


class ScriptHands:
    """What a script does to a served world.

    Args:
        rig: World and devices.
        gate: Who holds its time.
    """

    def __init__(self, rig: ServedRig, gate: Gate) -> None:
        self._rig = rig
        self._gate = gate
        self._clock = rig.machine.clock
        self._faults: set[str] = set()
        self._awaited: list[_AwaitedEdge] = []

    async def press(self, contact: str, hold_s: float) -> None:
        """Press a button for some seconds, which pass.

        Raises:
            ValueError: there is no such button.
        """
        if contact not in self._rig.contacts:
            known = ", ".join(sorted(self._rig.contacts))
            raise ValueError(f"no button is called {contact!r}; there is: {known}")
        with self._gate.passing():
            self._rig.press(contact)
            try:
                await self._clock.sleep(hold_s)
            finally:
                self._rig.release(contact)
        await self._gate.settled()

    async def let_pass(
        self, seconds: float, gpio: int | None, *, high: bool, stations: int
    ) -> bool | None:
        """Let time pass, up to an edge of an output where one is named.

        Returns:
            Whether the edge came; None where none is named.
        """
        await self._gate.joined(stations)
        edge = None if gpio is None else _AwaitedEdge(gpio, high, asyncio.Event())
        with self._gate.passing():
            if edge is None:
                await self._clock.sleep(seconds)
            else:
                await self._edge_within(edge, seconds)
        await self._gate.settled()
        return None if edge is None else edge.came.is_set()

    def note_output(self, edge: OutputEdge) -> None:
        """Take note of an output's edge."""
        for awaited in self._awaited:
            if (awaited.gpio, awaited.high) == (edge.gpio, edge.high):
                awaited.came.set()

    def fault(self, name: str, *, clear: bool) -> None:
        """Bring a fault about, or mend it; no name with `clear` mends all.

        Raises:
            ValueError: there is no such fault.
        """
        if clear and not name:
            for each in sorted(self._faults):
                self.fault(each, clear=True)
            return
        fault = FAULTS.get(name)
        if fault is None:
            raise ValueError(f"no fault is called {name!r}; there are: {', '.join(sorted(FAULTS))}")
        now_ns = self._clock.now_ns()
        for knob, to in fault.knobs.items():
            self._rig.world.turn(now_ns, knob, fault.mended(knob) if clear else to)
        self._bus(fault, present=not clear)
        (self._faults.discard if clear else self._faults.add)(name)
        self._rig.keep_up()

    def turn(self, knob: str, to: float, over_s: float) -> None:
        """Turn a knob.

        Raises:
            ValueError: there is no such knob, or it does not go so far.
        """
        known = {each.value: each for each in Knob}
        if knob not in known:
            raise ValueError(f"no knob is called {knob!r}; there are: {', '.join(sorted(known))}")
        self._rig.world.turn(self._clock.now_ns(), known[knob], to, over_s)
        self._rig.keep_up()

    def look(self) -> dict[str, Any]:
        """Return how the world is: for people and scripts, no watcher may see it."""
        world, now_ns = self._rig.world, self._clock.now_ns()
        knobs = {knob: world.value(knob, now_ns) for knob in Knob}
        return {
            "now_s": now_ns / NS_PER_S,
            "held": self._gate.held,
            "faults": sorted(self._faults),
            "knobs": {knob.value: at for knob, at in knobs.items() if at != START[knob]},
            "outputs": {
                str(gpio): int(high)
                for gpio, high in self._rig.machine.simulated_pins.levels().items()
            },
            "truth": {
                "fan_speed": round(world.fan_speed(now_ns), 3),
                "airflow_l_min": round(world.airflow_l_min(now_ns), 1),
                "element_pressure_pa": round(world.element_pressure_pa(now_ns), 2),
                "hood_co2_ppm": round(1e6 * world.hood_co2_fraction(now_ns)),
                "spo2_percent": round(world.spo2_percent(now_ns), 1),
                "pulse_rate_bpm": round(world.pulse_rate_bpm(now_ns)),
            },
        }

    async def _edge_within(self, edge: _AwaitedEdge, seconds: float) -> None:
        self._awaited.append(edge)
        try:
            async with asyncio.timeout(seconds):
                await edge.came.wait()
        except TimeoutError:
            pass
        finally:
            self._awaited.remove(edge)

    def _bus(self, fault: NamedFault, *, present: bool) -> None:
        if fault.bus is None:
            return
        faults = self._rig.machine.buses[SIMULATED].faults
        one = BusFault(fault.bus)
        if present and one not in faults:
            faults.append(one)
        elif not present and one in faults:
            faults.remove(one)
