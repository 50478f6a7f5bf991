"""A simulated machine: its bus, pins and radio peer, for demo and tests."""

from linetender_drivers.contracts import Clock
from linetender_drivers.errors import DeviceNotFound, DriverConfigError
from linetender_drivers.simulated.i2c_bus import SimulatedI2cBus
from linetender_drivers.simulated.pins import SimulatedPins
from linetender_drivers.simulated.plx_peer import SimulatedPeerLink, SimulatedPlxPeer
from linetender_drivers.simulated_place import SIMULATED

__all__ = ["SIMULATED", "SimulatedMachine"]


class SimulatedMachine:
    """A machine with one bus, one header of pins and no radio peer yet.

    It implements `contracts.Machine`. Wire chips to `buses["simulated"]`, work the
    switches by `simulated_pins`, and put an oximeter at `peers["simulated"]`.

    Args:
        clock: Whose time everything on it runs by.

    Attributes:
        buses: I2C buses by name.
        simulated_pins: The digital lines.
        peers: Radio peers by address.
    """

    def __init__(self, clock: Clock) -> None:
        self.buses: dict[str, SimulatedI2cBus] = {SIMULATED: SimulatedI2cBus(clock)}
        self.simulated_pins = SimulatedPins(clock)
        self.peers: dict[str, SimulatedPlxPeer] = {}
        self._clock = clock

    @property
    def clock(self) -> Clock:
        """The clock that drivers wait by."""
        return self._clock

    def i2c(self, bus: str) -> SimulatedI2cBus:
        """Return the bus with this name.

        Raises:
            DriverConfigError: this machine has no such bus.
        """
        if bus not in self.buses:
            raise _not_simulated(bus, 'bus = "simulated"')
        return self.buses[bus]

    def pins(self, chip: str) -> SimulatedPins:
        """Return the digital lines.

        Raises:
            DriverConfigError: the chip is not `simulated`.
        """
        if chip != SIMULATED:
            raise _not_simulated(chip, 'chip = "simulated"')
        return self.simulated_pins

    def notifications(self, peer: str, service: str, characteristic: str) -> SimulatedPeerLink:
        """Return a link to a radio peer; each peer has one characteristic only.

        Raises:
            DriverConfigError: the address is not `simulated`.
            DeviceNotFound: there is no peer of this address.
        """
        if peer in self.peers:
            return SimulatedPeerLink(self.peers[peer])
        if peer != SIMULATED:
            raise _not_simulated(peer, 'address = "simulated"')
        raise DeviceNotFound(peer, "nothing in this simulation sends by radio")


def _not_simulated(name: str, expected: str) -> DriverConfigError:
    return DriverConfigError(
        name, f"is real, and this machine is simulated; write {expected} in the device's options"
    )
