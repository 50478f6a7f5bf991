"""Wires a world to the simulated chip, pins and oximeter that real drivers talk to."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

from linetender.simulation.world import World
from linetender_drivers.simulated.machine import SIMULATED, SimulatedMachine
from linetender_drivers.simulated.plx_peer import SimulatedPlxPeer
from linetender_drivers.simulated.sdp8xx_chip import Sdp8xxChip

AIR_SENSOR_ADDRESS = 0x25
AIR_SENSOR_PRODUCT = "SDP810-500Pa"


class ButtonWiring(NamedTuple):
    """A button whose common wire lies at ground.

    Attributes:
        no_gpio: Line that closes when it is pressed.
        nc_gpio: Line that opens when it is pressed; None on a button with two wires.
    """

    no_gpio: int
    nc_gpio: int | None = None


DEMO_BUTTONS: Mapping[str, ButtonWiring] = MappingProxyType({"answer": ButtonWiring(17, 27)})
"""Buttons of the demo station by their role."""


class Rig:
    """A simulated machine in a world, with hands for its buttons.

    Making one attaches the pressure sensor and the oximeter and lets all buttons go.

    Args:
        world: What is true.
        machine: What the drivers are opened on.
        buttons: The station's buttons by role.

    Attributes:
        world: As given.
        machine: As given.
        air_sensor: The chip between hood end and room.
        oximeter: The radio peer on the wearer's finger.
    """

    def __init__(
        self,
        world: World,
        machine: SimulatedMachine,
        buttons: Mapping[str, ButtonWiring] = DEMO_BUTTONS,
    ) -> None:
        self.world = world
        self.machine = machine
        self.air_sensor = _air_sensor(world)
        self.oximeter = _oximeter(world, machine)
        self._buttons = buttons
        machine.buses[SIMULATED].attach(AIR_SENSOR_ADDRESS, self.air_sensor)
        machine.peers[SIMULATED] = self.oximeter
        for contact in buttons:
            self.release(contact)

    @property
    def contacts(self) -> frozenset[str]:
        """Roles of the buttons that a hand can reach."""
        return frozenset(self._buttons)

    def press(self, contact: str) -> None:
        """Hold a button down; it breaks before it makes."""
        wiring = self._buttons[contact]
        if wiring.nc_gpio is not None:
            self.machine.simulated_pins.release(wiring.nc_gpio)
        self.machine.simulated_pins.press(wiring.no_gpio)

    def release(self, contact: str) -> None:
        """Let a button go; it breaks before it makes."""
        wiring = self._buttons[contact]
        self.machine.simulated_pins.release(wiring.no_gpio)
        if wiring.nc_gpio is not None:
            self.machine.simulated_pins.press(wiring.nc_gpio)


def _air_sensor(world: World) -> Sdp8xxChip:
    chip = Sdp8xxChip(AIR_SENSOR_PRODUCT)
    chip.pressure_pa = world.hood_pressure_pa
    chip.temperature_c = lambda _: world.figures.ambient_temperature_c
    chip.ambient_pressure_pa = lambda _: world.figures.ambient_pressure_pa
    return chip


def _oximeter(world: World, machine: SimulatedMachine) -> SimulatedPlxPeer:
    peer = SimulatedPlxPeer(machine.clock)
    peer.spo2_percent = lambda: world.spo2_percent(machine.clock.now_ns())
    peer.pulse_rate_bpm = lambda: world.pulse_rate_bpm(machine.clock.now_ns())
    return peer
