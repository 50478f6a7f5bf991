"""Which pressure sensors `init` offers, and what it asks of each: made from the drivers."""

from collections.abc import Callable, Iterator, Mapping
from itertools import groupby
from typing import NamedTuple, get_args

from linetender.cli.init_questions import QUESTIONS, SENSOR
from linetender_drivers.i2c_options import I2cOptions
from linetender_drivers.registry import DriverSpec, Kind, driver_names, find_spec
from linetender_drivers.signal_roles import PRESSURE_SIGNALS


class Sensor(NamedTuple):
    """A pressure sensor that can be chosen.

    Attributes:
        driver: Its driver.
        address: Where it is on the bus, or None where its driver has no choice.
        options: Of the driver, beside bus and address.
        reads_pa: What it read while it was looked for.
    """

    driver: str
    address: int | None
    options: Mapping[str, object] = {}
    reads_pa: float | None = None

    @property
    def word(self) -> str:
        """The answer that chooses it."""
        return self.driver if self.address is None else f"{self.driver}@0x{self.address:02x}"


_ANSWERED: dict[str, tuple[str, Callable[[str], object]]] = {
    "sensor_product": ("product", str),
    "sensor_part": ("part_number", str),
    "sensor_range": ("range_psi", int),
    "sensor_output": ("output_type", str),
    "sensor_low": ("low_pa", float),
    "sensor_high": ("high_pa", float),
}
"""By question: the driver's option that it answers, and what makes the one of the other."""


def answered_options(answers: Mapping[str, str]) -> dict[str, object]:
    """Return the driver's options that were asked for."""
    return {
        option: made(answers[name]) for name, (option, made) in _ANSWERED.items() if name in answers
    }


def asked_options(driver: str) -> frozenset[str]:
    """Return the options that `init` asks of a driver's sensor."""
    return frozenset(
        _ANSWERED[each.name][0] for each in QUESTIONS if each.after == (SENSOR, driver)
    )


def has_address(driver: str) -> bool:
    """Whether its place on the bus is an option of the driver."""
    return "address" in find_spec(driver).options.model_fields


def unseen_sensors(*, minimal: bool) -> dict[str, Sensor]:
    """Return what can be chosen although nothing was found, by the word that chooses it.

    Args:
        minimal: Only sensors of which nothing more is asked.
    """
    drivers = sorted(_pressure_drivers(), key=lambda named: len(asked_options(named[0])))
    sensors = [
        Sensor(name, address)
        for name, spec in drivers
        if not (minimal and asked_options(name))
        for address in _addresses(spec)
    ]
    return {sensor.word: sensor for sensor in sensors}


def sensor_lines(sensors: Mapping[str, Sensor]) -> list[str]:
    """Tell in lines what can be chosen."""
    lines = []
    for driver, group in groupby(sensors.values(), key=lambda sensor: sensor.driver):
        first, *others = [sensor.word for sensor in group]
        also = ", ".join(word.partition("@")[2] for word in others)
        lines.append(f"  {first}{f' (or {also})' if also else ''}: {find_spec(driver).summary}")
    return lines


def _pressure_drivers() -> Iterator[tuple[str, DriverSpec]]:
    for name in driver_names():
        spec = find_spec(name)
        if spec.kind is not Kind.SENSOR or not issubclass(spec.options, I2cOptions):
            continue
        fields = spec.options.model_fields
        needed = {key for key, field in fields.items() if field.is_required()} - {"bus"}
        gives = spec.provides(spec.options.model_construct())
        if gives & PRESSURE_SIGNALS and needed <= asked_options(name):
            yield name, spec


def _addresses(spec: DriverSpec) -> tuple[int | None, ...]:
    """Return where it may be on the bus, the usual place first."""
    field = spec.options.model_fields.get("address")
    if field is None:
        return (None,)
    usual = field.default
    return (usual, *(each for each in get_args(field.annotation) if each != usual))
