"""A fan's tachometer on a GPIO line: an open collector that pulls the line low.

Wiring and limits: the manual in `drivers/README.md`. Edges are counted where they are
reported, so a busy event loop loses none. A stopped fan and a wire that is off look the
same: no edge is 0 turns per minute that may not be relied on.
"""

from linetender_drivers.contracts import InputLine, Machine, Sensor
from linetender_drivers.errors import DriverError, FailureReason
from linetender_drivers.fan.gpio_tachometer_decode import speed_rpm
from linetender_drivers.fan.gpio_tachometer_spec import SPEED_SIGNAL, GpioTachometerOptions
from linetender_drivers.measurements import Measurement, within
from linetender_drivers.pace import NS_PER_S
from linetender_drivers.signal_roles import known_signals

NO_PULSES = "no_pulses"
"""Doubt on a speed of 0: the fan stands, or a wire is off."""

SLACK_S = 1.0
"""What a read may take beyond its period (chosen: as for other sensors)."""


class GpioTachometer:
    """The tachometer; implements `contracts.Sensor`.

    Args:
        name: Of the device, in the station file.
        options: How it is wired.
        machine: What it is wired to.
    """

    def __init__(self, name: str, options: GpioTachometerOptions, machine: Machine) -> None:
        self.read_deadline_s = options.period_s + SLACK_S
        self._name = name
        self._options = options
        self._machine = machine
        self._clock = machine.clock
        self._period_ns = round(options.period_s * NS_PER_S)
        self._line: InputLine | None = None
        self._counted = 0
        self._counted_ns = 0

    async def open(self) -> None:
        """Claim the line and begin to count.

        Raises:
            DriverError: the chip is not there, or the line cannot be claimed.
        """
        line = self._machine.pins(self._options.chip).input(self._options.gpio, pull_up=True)
        self._line = line
        self._counted, self._counted_ns = line.edges(), self._clock.now_ns()

    async def read(self) -> tuple[Measurement, ...]:
        """Wait until a period has gone by and return the mean speed since the last read.

        Raises:
            DriverError: the device is not open, or the line was lost.
        """
        line = self._line
        if line is None:
            raise DriverError(self._name, "read before open", FailureReason.CLOSED)
        remaining_ns = self._counted_ns + self._period_ns - self._clock.now_ns()
        await self._clock.sleep(max(0, remaining_ns) / NS_PER_S)
        line.is_high()  # raises if the line was lost; a count alone would look like a stop
        counted, now_ns = line.edges(), self._clock.now_ns()
        edges, elapsed_ns = counted - self._counted, now_ns - self._counted_ns
        self._counted, self._counted_ns = counted, now_ns
        if edges == 0:
            return (Measurement(SPEED_SIGNAL, 0.0, doubt=NO_PULSES),)
        rpm = speed_rpm(edges, elapsed_ns, self._options.pulses_per_turn)
        return (within(SPEED_SIGNAL, rpm, 0.0, self._options.max_rpm),)

    async def close(self) -> None:
        """Give the line back."""
        line, self._line = self._line, None
        if line is not None:
            line.close()


def open_gpio_tachometer(
    name: str, options: GpioTachometerOptions, machine: Machine, roles: tuple[str, ...]
) -> Sensor:
    """Return an unopened tachometer.

    Raises:
        DriverConfigError: `roles` names anything but the fan's speed.
    """
    known_signals(name, roles, frozenset({SPEED_SIGNAL}))
    return GpioTachometer(name, options, machine)
