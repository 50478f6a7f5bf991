"""What the station file says of every sensor on I2C."""

from pydantic import Field

from linetender_drivers.registry import DeviceOptions


class I2cOptions(DeviceOptions):
    """Where a sensor is. Models of one part add `period_s` with their own limits.

    Attributes:
        bus: Device node of its I2C bus, e.g. `/dev/i2c-1`, or `simulated`.
    """

    bus: str = Field(pattern=r"^(simulated|/dev/.+)$")

    @property
    def is_simulated(self) -> bool:
        """Whether the bus is a simulated one."""
        return self.bus == "simulated"
