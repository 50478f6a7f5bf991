"""What the station file may say of a push button on plain pins."""

from typing import Self

from pydantic import Field, model_validator

from linetender_drivers.registry import DeviceOptions, DriverSpec, Kind


class GpioButtonOptions(DeviceOptions):
    """A push button between GPIO lines and ground; the pins' own pull-ups serve.

    Attributes:
        chip: `gpio` for the 40-pin header, the label of another GPIO chip, `simulated`, or
            `simulated:DIR`.
        no_gpio: GPIO (BCM) number, 0 to 27, of the normally open contact.
        nc_gpio: That of the normally closed contact of a change-over button. With it
            a broken or crushed wire is told from a press; without it, it is not.
    """

    chip: str = Field(default="gpio", min_length=1)
    no_gpio: int = Field(ge=0, le=27)
    nc_gpio: int | None = Field(default=None, ge=0, le=27)

    @property
    def place(self) -> str:
        """The chip."""
        return self.chip

    @model_validator(mode="after")
    def _two_lines(self) -> Self:
        if self.no_gpio == self.nc_gpio:
            raise ValueError("no_gpio and nc_gpio are the same line; give each contact its own")
        return self


def _provides(_options: GpioButtonOptions) -> frozenset[str]:
    return frozenset()


SPEC = DriverSpec(
    kind=Kind.INPUT,
    options=GpioButtonOptions,
    provides=_provides,
    open="linetender_drivers.inputs.gpio_switch:open_button",
    summary="push button on one or two GPIO lines",
)
