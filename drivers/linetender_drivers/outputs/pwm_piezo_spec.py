"""What the station file may say of a passive piezo sounder."""

from pydantic import Field

from linetender_drivers.registry import DeviceOptions, DriverSpec, Kind


class PwmPiezoOptions(DeviceOptions):
    """A passive piezo on a hardware PWM channel of the computer.

    Attributes:
        chip: Number of the PWM chip, N of `/sys/class/pwm/pwmchipN`.
        channel: Channel of that chip.
        frequency_hz: Of the tone, Hz; a piezo is loud at its resonance only.
        folder: Where the kernel shows its PWM chips.
    """

    chip: int = Field(default=0, ge=0, le=99)
    channel: int = Field(ge=0, le=15)
    frequency_hz: float = Field(default=2700.0, ge=200.0, le=8000.0)
    folder: str = Field(default="/sys/class/pwm", pattern="^/")


def _provides(_options: PwmPiezoOptions) -> frozenset[str]:
    return frozenset()


SPEC = DriverSpec(
    kind=Kind.OUTPUT,
    options=PwmPiezoOptions,
    provides=_provides,
    open="linetender_drivers.outputs.pwm_piezo:open_piezo",
    summary="passive piezo sounder on a hardware PWM channel",
)
