"""What the station file says of every sensor on I2C."""

from pydantic import Field

from linetender_drivers.registry import DeviceOptions
from linetender_drivers.simulated_place import SIMULATED_PATTERN


class I2cOptions(DeviceOptions):
    """Where a sensor is. Models of one part add `period_s` with their own limits.

    Attributes:
        bus: Device node of its I2C bus, e.g. `/dev/i2c-1`, or `simulated`, or
            `simulated:DIR`.
        power_gpio: GPIO (BCM) number of the line that works a switch in this sensor's
            supply, if there is one.
        power_on_high: Whether a high level there switches the supply on.
    """

    bus: str = Field(pattern=rf"^({SIMULATED_PATTERN}|/dev/.+)$")
    power_gpio: int | None = Field(default=None, ge=0, le=27)
    power_on_high: bool = True

    @property
    def place(self) -> str:
        """The bus."""
        return self.bus

    @property
    def power_chip(self) -> str:
        """The chip of `power_gpio`: that of the header, or the one simulated with the bus."""
        return self.bus if self.is_simulated else "gpio"
