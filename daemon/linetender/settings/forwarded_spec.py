"""What the station file may say of a sensor that hangs on a second box."""

from typing import Any

from pydantic import Field

from linetender.core.signals import DERIVED_SIGNALS, Signal
from linetender_drivers.registry import DeviceOptions, DriverSpec, Kind

FORWARDED = "forwarded"
"""Name of the driver whose readings come from a second box."""


class ForwardedOptions(DeviceOptions):
    """A sensor of a second box.

    Attributes:
        box: Name of the box; written as `from` in the device's own table.
    """

    box: str = Field(alias="from", pattern=r"^[a-z][a-z0-9_-]{0,31}$")


def _provides(_options: Any) -> frozenset[str]:
    return frozenset(signal.value for signal in Signal if signal not in DERIVED_SIGNALS)


SPEC = DriverSpec(
    kind=Kind.SENSOR,
    options=ForwardedOptions,
    provides=_provides,
    open="linetender.runtime.forwards:open_forwarded",
    summary="a sensor that hangs on a second box, which sends its readings over the broker",
)
