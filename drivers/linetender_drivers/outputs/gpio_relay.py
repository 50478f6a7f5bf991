"""A relay that is energised while nothing is wrong; its safe state is de-energised.

What hangs on its resting contact (a siren with its own supply) sounds when the alarm
does, and also when the computer loses its power, the program ends or the wire to the
coil comes off.
"""

from linetender_drivers.contracts import Machine
from linetender_drivers.outputs.gpio_output import GpioOutput
from linetender_drivers.outputs.gpio_output_spec import GpioOutputOptions


class GpioRelay(GpioOutput):
    """A normally energised relay; implements `contracts.OutputDevice`."""

    async def open(self) -> None:
        """Claim the line de-energised, then energise it: nothing is wrong yet.

        Raises:
            DriverError: the chip is not there, or the line cannot be claimed.
        """
        await super().open()
        self.write(False)

    def write(self, on: bool) -> None:
        """Let the relay drop to alarm, energise it to be quiet.

        Raises:
            DriverError: it is not open, or the line refuses.
        """
        super().write(not on)


def open_relay(
    name: str, options: GpioOutputOptions, machine: Machine, roles: tuple[str, ...]
) -> GpioRelay:
    """Return an unopened relay; its role (`roles`) makes no difference to it."""
    return GpioRelay(name, options, machine)
