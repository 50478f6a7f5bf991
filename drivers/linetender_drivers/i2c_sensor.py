"""A chip on I2C as a sensor: found and verified, read at a fixed pace, stopped.

What differs between chips is in a *part*; what is the same for all is here.
"""

from collections.abc import Awaitable
from typing import Protocol

from linetender_drivers.contracts import Clock, I2cBus, Machine
from linetender_drivers.errors import BadFrame, DeviceNotFound, DriverError, FailureReason
from linetender_drivers.i2c_options import I2cOptions
from linetender_drivers.measurements import Measurement
from linetender_drivers.pace import Pace
from linetender_drivers.supply_switch import SupplySwitch

SLACK_S = 1.0
"""What a read may take beyond its period and the chip's own time: the deadline of the
bus, and as much again for other devices that queue there (chosen)."""


class I2cChip:
    """One chip at its address, as a part talks to it.

    Args:
        name: Of the device, in the station file.
        bus: What it is wired to.
        bus_name: What the station file calls that.
        address: 7-bit.
        clock: Whose time is waited by.
    """

    def __init__(self, name: str, bus: I2cBus, bus_name: str, address: int, clock: Clock) -> None:
        self.name = name
        self.clock = clock
        self._bus = bus
        self._bus_name = bus_name
        self._address = address

    async def write(self, data: bytes) -> None:
        """Send bytes."""
        await self._bus.transfer(self._address, data, 0)

    def read(self, length: int) -> Awaitable[bytes]:
        """Read bytes without writing any."""
        return self._bus.transfer(self._address, b"", length)

    def ask(self, register: bytes, length: int) -> Awaitable[bytes]:
        """Write a register's number and read it in one transfer."""
        return self._bus.transfer(self._address, register, length)

    async def ask_twice(self, register: bytes, length: int) -> bytes:
        """Read a register that cannot have changed in between twice.

        For chips without a CRC: a bit that flips on the way shows as a difference.

        Raises:
            BadFrame: the two differ.
        """
        first = await self.ask(register, length)
        second = await self.ask(register, length)
        if first != second:
            raise self.bad_frame(f"register read twice, then {second.hex(' ')}", first)
        return first

    def sleep(self, seconds: float) -> Awaitable[None]:
        """Give the chip time, s."""
        return self.clock.sleep(seconds)

    def bad_frame(self, message: str, frame: bytes) -> BadFrame:
        """Return the error for bytes that cannot be trusted."""
        return BadFrame(self.name, message, frame)

    def absent(self) -> DeviceNotFound:
        """Return the error for an address at which nothing answers."""
        return DeviceNotFound(
            self.name,
            f"no sensor answers at address 0x{self._address:02x} of {self._bus_name}; check "
            "its plug and supply, and its address in the station file",
        )

    def wrong_device(self, found: str, expected: str) -> DeviceNotFound:
        """Return the error for another chip than the expected one."""
        return DeviceNotFound(
            self.name,
            f"at address 0x{self._address:02x} of {self._bus_name} there is {found}; "
            f"expected {expected}. Check address and wiring, or correct the station file",
            FailureReason.WRONG_DEVICE,
        )


class I2cPart(Protocol):
    """What one kind of chip needs; every method may raise a DriverError."""

    sample_s: float
    """What one sample takes besides the transfers, s."""

    async def start(self, chip: I2cChip) -> None:
        """Verify what the chip is before any command that another chip might take for
        something else; then start it."""

    async def sample(self, chip: I2cChip) -> tuple[Measurement, ...]:
        """Measure once."""

    async def stop(self, chip: I2cChip) -> None:
        """Stop it."""


class I2cSensor:
    """A chip on I2C; implements `contracts.Sensor`.

    Args:
        name: Of the device, in the station file.
        machine: What it is wired to.
        options: Which of its buses, and the switch in the supply if there is one.
        address: 7-bit.
        period_s: Between two readings, s.
        part: What is particular to this kind of chip.
    """

    def __init__(
        self,
        name: str,
        machine: Machine,
        options: I2cOptions,
        address: int,
        period_s: float,
        part: I2cPart,
    ) -> None:
        self.read_deadline_s = period_s + part.sample_s + SLACK_S
        self._name = name
        self._machine = machine
        self._bus_name = options.bus
        self._address = address
        self._part = part
        self._pace = Pace(machine.clock, period_s)
        self._chip: I2cChip | None = None
        self._supply = _supply_switch(name, machine, options)

    async def open(self) -> None:
        """Find the chip, verify it, start it; cut its supply first where that has failed.

        Raises:
            DeviceNotFound: nothing answers (reason `not_found`), or another chip does
                (reason `wrong_device`).
            BadFrame: what it says of itself came damaged.
            DriverError: the bus failed.
        """
        clock = self._machine.clock
        bus = self._machine.i2c(self._bus_name)
        chip = I2cChip(self._name, bus, self._bus_name, self._address, clock)
        if self._supply is not None:
            await self._supply.before_start()
        try:
            await self._part.start(chip)
        except DriverError as error:
            if self._supply is not None:
                self._supply.start_failed(error.reason)
            if error.reason is FailureReason.NACK:
                raise chip.absent() from error
            raise
        self._chip = chip
        self._pace.start()

    async def read(self) -> tuple[Measurement, ...]:
        """Wait for the next turn and measure.

        A value that the part cannot measure gives a Measurement without a value.

        Raises:
            BadFrame: the bytes cannot be trusted.
            DriverError: the bus failed, or the device is not open.
        """
        chip = self._chip
        if chip is None:
            raise DriverError(self._name, "read before open", FailureReason.CLOSED)
        await self._pace.turn()
        measured = await self._part.sample(chip)
        if self._supply is not None:
            self._supply.has_read()
        return measured

    async def close(self) -> None:
        """Stop the chip as far as possible."""
        chip, self._chip = self._chip, None
        if chip is None:
            return
        try:
            await self._part.stop(chip)
        except DriverError:
            return  # unplugged or stuck: there is nothing left to stop


def _supply_switch(name: str, machine: Machine, options: I2cOptions) -> SupplySwitch | None:
    if options.power_gpio is None:
        return None
    return SupplySwitch(
        name,
        lambda: machine.pins(options.power_chip),
        options.power_gpio,
        options.power_on_high,
        machine.clock,
    )
