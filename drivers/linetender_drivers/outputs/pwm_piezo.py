"""A passive piezo sounder on a hardware PWM channel; its safe state is off.

A passive piezo has no oscillator: the computer must make the tone. A pin that is
toggled by software warbles, so only a hardware channel is offered.
"""

from pathlib import Path

from linetender_drivers.buses.pwm import PwmChannel
from linetender_drivers.contracts import Machine
from linetender_drivers.errors import DriverError, FailureReason
from linetender_drivers.outputs.pwm_piezo_spec import PwmPiezoOptions


class PwmPiezo:
    """One piezo; implements `contracts.OutputDevice`."""

    def __init__(self, name: str, options: PwmPiezoOptions, machine: Machine) -> None:
        self._name = name
        self._options = options
        self._clock = machine.clock
        self._channel: PwmChannel | None = None

    async def open(self) -> None:
        """Claim the channel, off.

        Raises:
            DriverError: there is no such channel, or the kernel refuses.
        """
        options = self._options
        chip = Path(options.folder) / f"pwmchip{options.chip}"
        channel = PwmChannel(chip, options.channel, self._clock)
        await channel.open(options.frequency_hz)
        self._channel = channel

    def write(self, on: bool) -> None:
        """Start or stop the tone.

        Raises:
            DriverError: it is not open, or the kernel refuses.
        """
        if self._channel is None:
            raise DriverError(self._name, "is not open", FailureReason.CLOSED)
        self._channel.write(on)

    async def close(self) -> None:
        """Stop the tone and give the channel back."""
        channel, self._channel = self._channel, None
        if channel is not None:
            channel.close()


def open_piezo(
    name: str, options: PwmPiezoOptions, machine: Machine, roles: tuple[str, ...]
) -> PwmPiezo:
    """Return an unopened piezo; its role (`roles`) makes no difference to it."""
    return PwmPiezo(name, options, machine)
