"""What the watcher asks of a driver, and what a driver may ask of the machine."""

from typing import Protocol

from linetender_drivers.measurements import ContactChange, Measurement


class Clock(Protocol):
    """Time as a driver sees it; injected, so that tests and demos need not wait."""

    def now_ns(self) -> int:
        """Return the monotonic time in ns."""

    async def sleep(self, seconds: float) -> None:
        """Wait for a duration in s."""


class I2cBus(Protocol):
    """One I2C bus, shared by its devices."""

    async def transfer(self, address: int, write: bytes, read_n: int) -> bytes:
        """Write bytes, then read bytes, as one transfer.

        Args:
            address: 7-bit address.
            write: Bytes to send; empty to only read.
            read_n: Number of bytes to read; 0 to only write. With both, the read
                follows by a repeated start: a chip that needs time in between wants
                two calls.

        Returns:
            Exactly `read_n` bytes.

        Raises:
            DriverError: with reason `nack`, `timeout` or `bus_error`.
        """


class InputLine(Protocol):
    """A digital input."""

    def is_high(self) -> bool:
        """Sample the level now."""

    async def edge(self, timeout_s: float) -> None:
        """Return at the next change of level, or after the timeout (s)."""

    def edges(self) -> int:
        """Return how many changes of level there were since the line was claimed."""

    def close(self) -> None:
        """Give the line back."""


class OutputLine(Protocol):
    """A digital output. Writing never blocks."""

    def write(self, high: bool) -> None:
        """Drive the line."""

    def close(self) -> None:
        """Drive the line to its safe level and give it back."""


class Pins(Protocol):
    """The digital lines of the machine, by their GPIO (BCM) number."""

    def input(self, gpio: int, *, pull_up: bool) -> InputLine:
        """Claim an input with its pull resistor up (else down)."""

    def output(self, gpio: int, *, safe_high: bool) -> OutputLine:
        """Claim an output, driven to its safe level first."""


class NotificationLink(Protocol):
    """A radio link on which a peer sends notifications."""

    async def open(self) -> None:
        """Connect and subscribe; raises a DriverError when it cannot."""

    async def next(self) -> bytes:
        """Wait for the next notification; raises a DriverError when the link is lost."""

    async def value(self, characteristic: str) -> bytes | None:
        """Read another characteristic (128-bit UUID); None when the peer has none such.

        Raises a DriverError when it cannot be read or the link is lost. It never touches
        the notifications.
        """

    async def send(self, characteristic: str, octets: bytes) -> None:
        """Write to a characteristic (128-bit UUID); raises a DriverError when it cannot."""

    async def close(self) -> None:
        """Disconnect; never raises."""


class Machine(Protocol):
    """What there is to open devices on: the real computer, or a simulated one."""

    @property
    def clock(self) -> Clock:
        """The clock that drivers wait by."""

    def i2c(self, bus: str) -> I2cBus:
        """Return the bus with this name, e.g. `/dev/i2c-1`; the same object each time."""

    def pins(self, chip: str) -> Pins:
        """Return the digital lines of a chip: `gpio`, or `simulated`."""

    def notifications(self, peer: str, service: str, characteristic: str) -> NotificationLink:
        """Return a link to a radio peer for one characteristic.

        Args:
            peer: Its address, or `only` for the only one in range with the service.
            service: 128-bit UUID in lower case.
            characteristic: 128-bit UUID in lower case; it notifies or indicates.
        """


class Sensor(Protocol):
    """A device that measures."""

    read_deadline_s: float
    """`read` takes no longer than this unless something is wrong."""

    async def open(self) -> None:
        """Find the device, verify what it is, start it. Raises a DriverError."""

    async def read(self) -> tuple[Measurement, ...]:
        """Wait for the next sample at the device's own pace. Raises a DriverError."""

    async def close(self) -> None:
        """Stop the device as far as possible; never raises."""


class InputDevice(Protocol):
    """A switch."""

    async def open(self) -> None:
        """Claim its lines. Raises a DriverError."""

    async def change(self) -> ContactChange:
        """Wait for the next debounced change; repeats the present state about once a second."""

    async def close(self) -> None:
        """Give its lines back; never raises."""


class OutputDevice(Protocol):
    """Something that can be on or off: a buzzer, a lamp."""

    async def open(self) -> None:
        """Claim its line, off. Raises a DriverError."""

    def write(self, on: bool) -> None:
        """Switch it; never blocks. Raises a DriverError."""

    async def close(self) -> None:
        """Leave it in its safe state; never raises."""
