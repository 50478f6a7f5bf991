"""The real machine. A hardware library is loaded when a device first needs it."""

from typing import TYPE_CHECKING

from linetender_drivers.contracts import Clock, I2cBus, NotificationLink, Pins
from linetender_drivers.errors import DriverConfigError
from linetender_drivers.simulated_place import is_simulated

if TYPE_CHECKING:
    from linetender_drivers.buses.ble import BleRadio
    from linetender_drivers.buses.gpio import RealPins
    from linetender_drivers.buses.i2c import RealI2cBus


class RealMachine:
    """This computer; implements `contracts.Machine`.

    Args:
        clock: The one that drivers wait by.
    """

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._buses: dict[str, RealI2cBus] = {}
        self._pins: dict[str, RealPins] = {}
        self._radio: BleRadio | None = None

    @property
    def clock(self) -> Clock:
        """The clock that drivers wait by."""
        return self._clock

    def i2c(self, bus: str) -> I2cBus:
        """Return the bus of a device node, e.g. `/dev/i2c-1`; opened at its first transfer.

        Raises:
            DriverConfigError: the bus is a simulated one.
        """
        _refuse_simulated(bus)
        if bus not in self._buses:
            from linetender_drivers.buses.i2c import RealI2cBus

            self._buses[bus] = RealI2cBus(bus)
        return self._buses[bus]

    def pins(self, chip: str) -> Pins:
        """Return the digital lines of a chip: `gpio` for the 40-pin header.

        Raises:
            DriverConfigError: the chip is a simulated one, or its library is missing.
            DeviceNotFound: there is no such chip.
        """
        _refuse_simulated(chip)
        if chip not in self._pins:
            from linetender_drivers.buses.gpio import RealPins

            self._pins[chip] = RealPins(chip)
        return self._pins[chip]

    def notifications(self, peer: str, service: str, characteristic: str) -> NotificationLink:
        """Return a link to a Bluetooth peer, not yet open; see `contracts.Machine`.

        Raises:
            DriverConfigError: the peer is a simulated one.
        """
        _refuse_simulated(peer)
        if self._radio is None:
            from linetender_drivers.buses.ble import BleRadio

            self._radio = BleRadio()
        return self._radio.link(peer, service, characteristic)

    def close(self) -> None:
        """Give buses and pins back; close the devices on them first."""
        for bus in self._buses.values():
            bus.close()
        for pins in self._pins.values():
            pins.close()
        self._buses.clear()
        self._pins.clear()


def _refuse_simulated(name: str) -> None:
    if is_simulated(name):
        raise DriverConfigError(
            name,
            "the station file names a simulated device and this is the real machine; name "
            "the real one, or run a simulation",
        )
