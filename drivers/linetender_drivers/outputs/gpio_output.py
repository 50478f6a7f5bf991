"""A buzzer, siren or lamp on a plain GPIO line; its safe state is off.

The buzzer is an active one, which sounds by itself when it has power: a pin switched
by software cannot make a steady tone.
"""

from linetender_drivers.contracts import Machine, OutputLine
from linetender_drivers.errors import DriverError, FailureReason
from linetender_drivers.outputs.gpio_output_spec import GpioOutputOptions


class GpioOutput:
    """One switched output; implements `contracts.OutputDevice`."""

    def __init__(self, name: str, options: GpioOutputOptions, machine: Machine) -> None:
        self._name = name
        self._options = options
        self._machine = machine
        self._line: OutputLine | None = None

    async def open(self) -> None:
        """Claim the line, off.

        Raises:
            DriverError: the chip is not there, or the line cannot be claimed.
        """
        pins = self._machine.pins(self._options.chip)
        self._line = pins.output(self._options.gpio, safe_high=not self._options.active_high)

    def write(self, on: bool) -> None:
        """Switch it.

        Raises:
            DriverError: it is not open, or the line refuses.
        """
        if self._line is None:
            raise DriverError(self._name, "is not open", FailureReason.CLOSED)
        self._line.write(on is self._options.active_high)

    async def close(self) -> None:
        """Switch it off and give the line back."""
        line, self._line = self._line, None
        if line is not None:
            line.close()


def open_output(
    name: str, options: GpioOutputOptions, machine: Machine, roles: tuple[str, ...]
) -> GpioOutput:
    """Return an unopened output; its role (`roles`) makes no difference to it."""
    return GpioOutput(name, options, machine)
