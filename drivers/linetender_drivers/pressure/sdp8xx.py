"""The SDP8xx and SDP3x differential-pressure sensors on I2C.

Wiring, ranges and accuracy: the manual in `drivers/README.md`. Tested against the
register-level simulated chip, which the sensor maker's own driver reads alike.

The pressure is reported as the chip reads it. The chip measures a mass flow through
itself and is calibrated at 966 hPa: the true differential pressure is the reading
times 966 hPa / ambient pressure. This driver does not correct for it, since it does
not know the ambient pressure; whoever uses the value corrects it, once.

Source of commands and times: the sensor maker's Python driver `sensirion-i2c-sdp`.
"""

from linetender_drivers.contracts import I2cBus, Machine, Sensor
from linetender_drivers.errors import (
    DeviceNotFound,
    DriverConfigError,
    DriverError,
    FailureReason,
)
from linetender_drivers.measurements import Measurement
from linetender_drivers.pressure.sdp8xx_decode import (
    FRAME_LENGTH,
    IDENTIFIER_LENGTH,
    Sdp8xxFrame,
    decode_frame,
    decode_identifier,
)
from linetender_drivers.pressure.sdp8xx_spec import (
    PRESSURE_SIGNALS,
    TEMPERATURE_SIGNAL,
    Sdp8xxOptions,
)

START_CONTINUOUS = bytes.fromhex("3615")
"""Differential pressure, temperature compensated, average since the last read."""

STOP = bytes.fromhex("3FF9")
PREPARE_IDENTIFIER = bytes.fromhex("367C")
READ_IDENTIFIER = bytes.fromhex("E102")

AFTER_STOP_S = 0.002
"""The chip takes the next command 0.5 ms after a stop."""

BEFORE_IDENTIFIER_S = 0.001
"""Given to the chip between the command and reading the identifier."""

WARM_UP_S = 0.020
"""First result after 8 ms, off by a few per cent for another 12 ms."""

TEMPERATURE_PERIOD_NS = 1_000_000_000
"""Between two temperatures: they change slowly (chosen)."""

SLACK_S = 1.0
"""What a read may take beyond its period: the deadline of the bus, and as much again
for other devices that queue there (chosen)."""


class Sdp8xx:
    """One sensor; implements `contracts.Sensor`.

    Args:
        name: Of the device, in the station file.
        options: Where it is and how it is read.
        machine: What it is wired to.
        pressure_signal: What the pressure it measures is called.
        with_temperature: Whether to report the chip's temperature, once a second.
    """

    def __init__(
        self,
        name: str,
        options: Sdp8xxOptions,
        machine: Machine,
        pressure_signal: str,
        with_temperature: bool,
    ) -> None:
        self.read_deadline_s = options.period_s + SLACK_S
        self._name = name
        self._options = options
        self._machine = machine
        self._clock = machine.clock
        self._signal = pressure_signal
        self._with_temperature = with_temperature
        self._period_ns = round(options.period_s * 1_000_000_000)
        self._bus: I2cBus | None = None
        self._next_read_ns = 0
        self._next_temperature_ns = 0

    async def open(self) -> None:
        """Find the chip, verify its product number, start it.

        Raises:
            DeviceNotFound: nothing answers (reason `not_found`), or it is another part
                than the family's or the configured one (reason `wrong_device`).
            BadFrame: the identifier came damaged.
            DriverError: the bus failed.
        """
        bus = self._machine.i2c(self._options.bus)
        self._bus = bus
        try:
            await self._stop(bus)
            await self._verify(bus)
            await bus.transfer(self._options.address, START_CONTINUOUS, 0)
        except DriverError as error:
            if error.reason is FailureReason.NACK:
                raise self._absent() from error
            raise
        await self._clock.sleep(WARM_UP_S)
        self._next_read_ns = self._next_temperature_ns = self._clock.now_ns()

    async def read(self) -> tuple[Measurement, ...]:
        """Wait for the next sample and return the pressure, at times the temperature too.

        A pressure beyond the range of the part gives a Measurement without a value.

        Raises:
            BadFrame: the bytes cannot be trusted.
            DriverError: the bus failed, or the device is not open.
        """
        bus = self._bus
        if bus is None:
            raise DriverError(self._name, "read before open", FailureReason.CLOSED)
        await self._wait_for_turn()
        answer = await bus.transfer(self._options.address, b"", FRAME_LENGTH)
        frame = decode_frame(answer, self._name)
        pressure = self._pressure(frame)
        now_ns = self._clock.now_ns()
        if not self._with_temperature or now_ns < self._next_temperature_ns:
            return (pressure,)
        self._next_temperature_ns = now_ns + TEMPERATURE_PERIOD_NS
        return (pressure, _temperature(frame))

    async def close(self) -> None:
        """Stop the chip as far as possible."""
        bus, self._bus = self._bus, None
        if bus is None:
            return
        try:
            await bus.transfer(self._options.address, STOP, 0)
        except DriverError:
            return  # unplugged or stuck: there is nothing left to stop

    async def _wait_for_turn(self) -> None:
        """Pace by a fixed grid, so that lateness does not add up; after a gap start it anew."""
        now_ns = self._clock.now_ns()
        if now_ns < self._next_read_ns:
            await self._clock.sleep((self._next_read_ns - now_ns) / 1_000_000_000)
        elif now_ns - self._next_read_ns > self._period_ns:
            self._next_read_ns = now_ns
        self._next_read_ns += self._period_ns

    async def _stop(self, bus: I2cBus) -> None:
        """Stop a measurement that an earlier process may have left running."""
        try:
            await bus.transfer(self._options.address, STOP, 0)
        except DriverError as error:
            if error.reason is not FailureReason.NACK:  # an idle chip may refuse it
                raise
        await self._clock.sleep(AFTER_STOP_S)

    async def _verify(self, bus: I2cBus) -> None:
        """Check that the chip is of the family, and the configured part if one is."""
        address = self._options.address
        await bus.transfer(address, PREPARE_IDENTIFIER, 0)
        await bus.transfer(address, READ_IDENTIFIER, 0)
        await self._clock.sleep(BEFORE_IDENTIFIER_S)
        answer = await bus.transfer(address, b"", IDENTIFIER_LENGTH)
        identifier = decode_identifier(answer, self._name)
        product = identifier.product
        if product is None:
            found = f"product number 0x{identifier.product_number:08x} ({answer.hex(' ')})"
            expected = self._options.product or "an SDP8xx or SDP3x"
        elif self._options.product not in (None, product.name):
            found, expected = product.name, self._options.product
        else:
            return
        raise DeviceNotFound(
            self._name,
            f"at address 0x{address:02x} of {self._options.bus} there is {found}; expected "
            f"{expected}. Check address and wiring, or correct the station file",
            FailureReason.WRONG_DEVICE,
        )

    def _absent(self) -> DeviceNotFound:
        return DeviceNotFound(
            self._name,
            f"no sensor answers at address 0x{self._options.address:02x} of "
            f"{self._options.bus}; check its plug and supply, and the address in the "
            "station file (0x25 for SDP800 and SDP810, 0x26 for SDP801 and SDP811)",
        )

    def _pressure(self, frame: Sdp8xxFrame) -> Measurement:
        if not frame.is_pressure_in_range:
            return Measurement(self._signal, reason=FailureReason.OUT_OF_RANGE)
        return Measurement(self._signal, frame.differential_pa)


def _temperature(frame: Sdp8xxFrame) -> Measurement:
    if not frame.is_temperature_in_range:
        return Measurement(TEMPERATURE_SIGNAL, reason=FailureReason.OUT_OF_RANGE)
    return Measurement(TEMPERATURE_SIGNAL, frame.temperature_c)


def open_sdp8xx(
    name: str, options: Sdp8xxOptions, machine: Machine, roles: tuple[str, ...]
) -> Sensor:
    """Return an unopened sensor that reports the signals in `roles`.

    Raises:
        DriverConfigError: `roles` does not name exactly one pressure, or names a
            signal that the sensor cannot give.
    """
    pressures = [role for role in roles if role in PRESSURE_SIGNALS]
    others = set(roles) - PRESSURE_SIGNALS - {TEMPERATURE_SIGNAL}
    if len(pressures) != 1 or others:
        raise DriverConfigError(
            name,
            f"signals are {', '.join(roles) or 'none'}; expected exactly one of "
            f"{', '.join(sorted(PRESSURE_SIGNALS))}, and {TEMPERATURE_SIGNAL} if wanted",
        )
    return Sdp8xx(name, options, machine, pressures[0], TEMPERATURE_SIGNAL in roles)
