"""Which drivers there are, without loading any hardware library.

A driver is one entry point in the group `linetender.drivers` that names a
`DriverSpec`. Its module imports nothing heavier than pydantic; the code that
touches hardware is named as text and loaded when the device is opened.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from importlib import import_module
from importlib.metadata import entry_points
from typing import Any

from pydantic import BaseModel, ConfigDict

from linetender_drivers.simulated_place import is_simulated

ENTRY_POINT_GROUP = "linetender.drivers"


class Kind(StrEnum):
    """What a device is to the station."""

    SENSOR = "sensor"
    INPUT = "input"
    OUTPUT = "output"


class DeviceOptions(BaseModel):
    """Base of every driver's options: strict, frozen, no unknown keys, no nan or inf."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, strict=True, allow_inf_nan=False, validate_default=True
    )

    @property
    def place(self) -> str:
        """Bus, chip or address that the device is reached by; drivers override it."""
        return ""

    @property
    def is_simulated(self) -> bool:
        """Whether these options name a simulated device."""
        return is_simulated(self.place)


@dataclass(frozen=True)
class DriverSpec:
    """All that `lint` needs to know of a driver.

    Attributes:
        kind: Sensor, input or output.
        options: Model of the device's options in the station file.
        provides: From the options, the signals that the device can give (empty for
            inputs and outputs, whose role the station file names).
        open: `module:function`; called with (name, options, machine, roles), it returns
            an unopened Sensor, InputDevice or OutputDevice. `roles: tuple[str, ...]` is
            what the station file wants of the device: a sensor's signals, the one
            contact of an input, the one role of an output.
        summary: One line for people: the part and what it measures.
        decode: `module:function`; called with (name, options, roles, frame), it returns
            the Measurements that the driver makes of one answer of the device (bytes),
            none where the answer is no measurement, or raises BadFrame. Empty where an
            answer means nothing by itself.
        probe: `module:NAME` of a tuple of `i2c_probe.I2cProbe`, by which the device is
            recognised. Empty where it cannot be asked what it is.
    """

    kind: Kind
    options: type[DeviceOptions]
    provides: Callable[[Any], frozenset[str]]
    open: str
    summary: str = ""
    decode: str = ""
    probe: str = ""

    def opener(self) -> Callable[..., Any]:
        """Load the code that touches hardware and return its function."""
        opener: Callable[..., Any] = _load(self.open)
        return opener

    def decoder(self) -> Callable[..., Any] | None:
        """Load the code that decodes one answer of the device, if there is such."""
        if not self.decode:
            return None
        decoder: Callable[..., Any] = _load(self.decode)
        return decoder

    def probes(self) -> tuple[Any, ...]:
        """Load how the device is recognised: `I2cProbe`s, none where it cannot be."""
        return tuple(_load(self.probe)) if self.probe else ()


def _load(name: str) -> Any:
    module, _, attribute = name.partition(":")
    return getattr(import_module(module), attribute)


class UnknownDriver(LookupError):
    """The station file names a driver that is not installed; lists those that are."""


def driver_names() -> tuple[str, ...]:
    """Return the names of all installed drivers, sorted."""
    return tuple(sorted(point.name for point in entry_points(group=ENTRY_POINT_GROUP)))


def find_spec(name: str) -> DriverSpec:
    """Return the spec of a driver.

    Raises:
        UnknownDriver: no installed package offers a driver of that name, or two do.
    """
    found = tuple(entry_points(group=ENTRY_POINT_GROUP, name=name))
    if not found:
        known = ", ".join(driver_names())
        raise UnknownDriver(f"no driver is called {name!r}; installed: {known}")
    if len(found) > 1:
        raise UnknownDriver(f"two installed packages offer a driver {name!r}; remove one")
    spec = found[0].load()
    if not isinstance(spec, DriverSpec):
        raise UnknownDriver(f"the entry point {name!r} does not name a DriverSpec")
    return spec
