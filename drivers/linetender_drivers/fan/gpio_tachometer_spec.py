"""A fan's tachometer on a GPIO line, for the registry. Loads no hardware library."""

from pydantic import Field

from linetender_drivers.registry import DeviceOptions, DriverSpec, Kind

SPEED_SIGNAL = "fan_speed_rpm"


class GpioTachometerOptions(DeviceOptions):
    """How the tachometer is wired.

    Attributes:
        chip: `gpio` for the 40-pin header, the label of another GPIO chip, `simulated`, or
            `simulated:DIR`.
        gpio: GPIO (BCM) number, 0 to 27.
        pulses_per_turn: Most fans give 2.
        max_rpm: More is taken for noise, turns per minute.
        period_s: Time over which is counted, s.
    """

    chip: str = Field(default="gpio", min_length=1)
    gpio: int = Field(ge=0, le=27)
    pulses_per_turn: int = Field(default=2, ge=1, le=12)
    max_rpm: float = Field(default=6000.0, ge=100.0, le=30_000.0)
    period_s: float = Field(default=1.0, ge=0.2, le=5.0)

    @property
    def place(self) -> str:
        """The chip."""
        return self.chip


def _provides(_: GpioTachometerOptions) -> frozenset[str]:
    return frozenset({SPEED_SIGNAL})


SPEC = DriverSpec(
    kind=Kind.SENSOR,
    options=GpioTachometerOptions,
    provides=_provides,
    open="linetender_drivers.fan.gpio_tachometer:open_gpio_tachometer",
    summary="fan tachometer (pulses per turn) on one GPIO line",
)
