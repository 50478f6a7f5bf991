"""What the station file says of every sensor on I2C."""

from pydantic import Field

from linetender_drivers.registry import DeviceOptions
from linetender_drivers.simulated_place import SIMULATED_PATTERN


class I2cOptions(DeviceOptions):
    """Where a sensor is. Models of one part add `period_s` with their own limits.

    Attributes:
        bus: Device node of its I2C bus, e.g. `/dev/i2c-1`, or `simulated`, or
            `simulated:DIR`.
    """

    bus: str = Field(pattern=rf"^({SIMULATED_PATTERN}|/dev/.+)$")

    @property
    def place(self) -> str:
        """The bus."""
        return self.bus
