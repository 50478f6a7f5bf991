"""What the station file may say of what is on or off by a plain pin."""

from pydantic import Field

from linetender_drivers.registry import DeviceOptions, DriverSpec, Kind


class GpioOutputOptions(DeviceOptions):
    """Something that is on or off, switched by one GPIO line.

    Attributes:
        chip: `gpio` for the 40-pin header, the label of another GPIO chip, `simulated`, or
            `simulated:DIR`.
        gpio: GPIO (BCM) number, 0 to 27.
        active_high: Whether a high level switches it on.
    """

    chip: str = Field(default="gpio", min_length=1)
    gpio: int = Field(ge=0, le=27)
    active_high: bool = True

    @property
    def place(self) -> str:
        """The chip."""
        return self.chip


def _provides(_options: GpioOutputOptions) -> frozenset[str]:
    return frozenset()


_OPEN = "linetender_drivers.outputs.gpio_output:open_output"

BUZZER = DriverSpec(
    kind=Kind.OUTPUT,
    options=GpioOutputOptions,
    provides=_provides,
    open=_OPEN,
    summary="active buzzer or siren on a GPIO line",
)

LAMP = DriverSpec(
    kind=Kind.OUTPUT,
    options=GpioOutputOptions,
    provides=_provides,
    open=_OPEN,
    summary="lamp on a GPIO line",
)

KEEP_ALIVE = DriverSpec(
    kind=Kind.OUTPUT,
    options=GpioOutputOptions,
    provides=_provides,
    open=_OPEN,
    summary="sign of life on a GPIO line, for a circuit that sounds when it stops",
)

RELAY = DriverSpec(
    kind=Kind.OUTPUT,
    options=GpioOutputOptions,
    provides=_provides,
    open="linetender_drivers.outputs.gpio_relay:open_relay",
    summary="relay on a GPIO line, energised while nothing is wrong",
)
