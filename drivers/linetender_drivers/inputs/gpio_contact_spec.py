"""What the station file may say of a contact: hood hook, fan mains, an alarm's relay."""

from pydantic import Field

from linetender_drivers.registry import DeviceOptions, DriverSpec, Kind


class GpioContactOptions(DeviceOptions):
    """A contact on one GPIO line.

    Attributes:
        chip: `gpio` for the 40-pin header, the label of another GPIO chip, `simulated`, or
            `simulated:DIR`.
        gpio: GPIO (BCM) number, 0 to 27.
        closed_when_low: True for a contact to ground (pulled up), false for one to
            3.3 V (pulled down). Either way a wire that comes off reads `open`.
    """

    chip: str = Field(default="gpio", min_length=1)
    gpio: int = Field(ge=0, le=27)
    closed_when_low: bool = True

    @property
    def place(self) -> str:
        """The chip."""
        return self.chip


def _provides(_options: GpioContactOptions) -> frozenset[str]:
    return frozenset()


SPEC = DriverSpec(
    kind=Kind.INPUT,
    options=GpioContactOptions,
    provides=_provides,
    open="linetender_drivers.inputs.gpio_switch:open_contact",
    summary="contact on one GPIO line: hood hook, fan mains, alarm relay",
)
