"""How far the pressure sensor of a station can be believed, by its driver and part."""

import math
from dataclasses import dataclass

from linetender.airline.pressure_sensor import (
    MEMBRANE_1_PSI,
    SDP8XX_125,
    SDP8XX_500,
    PressureSensor,
)
from linetender.settings.station import Device
from linetender_drivers.pressure.d6f_ph_decode import RANGES as D6F_PH_RANGES
from linetender_drivers.pressure.hsc_decode import hsc_part

PA_PER_PSI = 6894.757

BRIDGE_FULL_SCALE_PERCENT = 0.25
"""Limit of a bridge sensor's zero, % of full scale (from memory of the HSC's data sheet;
taken for the MS4525DO and analogue transducers too)."""


@dataclass(frozen=True, slots=True)
class NamedSensor:
    """A pressure sensor and what to call it.

    Attributes:
        name: By its range, for people.
        sensor: How far it can be believed.
        is_fitted: Whether it is the one that the station has.
    """

    name: str
    sensor: PressureSensor
    is_fitted: bool = False


CATALOGUE = (
    NamedSensor("±500 Pa", SDP8XX_500),
    NamedSensor("±125 Pa", SDP8XX_125),
    NamedSensor("±1 psi", MEMBRANE_1_PSI),
)
"""Sensors that every line is judged with: thermal of 500 and 125 Pa, and a membrane."""

UNKNOWN = PressureSensor.within(1.0, 5.0, 100_000.0)
"""A sensor of a driver that is not known here (chosen: coarser than all that are)."""


def sensor_of(device: Device) -> PressureSensor:
    """Return the uncertainties and range of a station's pressure sensor."""
    options = device.options.model_dump()
    if device.driver == "sdp8xx":
        return _sdp8xx(options.get("product") or "")
    if device.driver == "d6f_ph":
        low_pa, span_pa = D6F_PH_RANGES[options["product"]]
        # Zero ±0.2 Pa, span 3 % of the reading (from memory of the data sheet).
        return PressureSensor.within(0.2, 3.0, low_pa + span_pa, is_thermal=True)
    if device.driver == "hsc":
        return _bridge(hsc_part(options["part_number"]).pressure_range.high_pa)
    if device.driver == "ms4525do":
        return _bridge(options["range_psi"] * PA_PER_PSI)
    if device.driver == "ads1115_pressure":
        return _bridge(max(abs(options["low_pa"]), abs(options["high_pa"])))
    return UNKNOWN


def sensors_to_judge_with(fitted: Device | None) -> tuple[NamedSensor, ...]:
    """Return the sensors to judge a line with: the station's own first, where it has one.

    It takes the place of the one of the catalogue that is of its kind.
    """
    if fitted is None:
        return CATALOGUE
    own = sensor_of(fitted)
    alike = next((each for each in CATALOGUE if _is_alike(each.sensor, own)), None)
    name = f"±{own.range_pa:.4g} Pa" if alike is None else alike.name
    others = tuple(each for each in CATALOGUE if each is not alike)
    return (NamedSensor(name, own, is_fitted=True), *others)


def _is_alike(one: PressureSensor, other: PressureSensor) -> bool:
    is_same_range = math.isclose(one.range_pa, other.range_pa, rel_tol=0.01)
    return is_same_range and one.is_thermal == other.is_thermal


def _sdp8xx(product: str) -> PressureSensor:
    if product.endswith("125Pa"):
        return SDP8XX_125
    if product.endswith("1500Pa"):
        # Zero ±0.2 Pa (from memory of the data sheet of the SDP3x).
        return PressureSensor.within(0.2, 3.0, 1500.0, is_thermal=True)
    return SDP8XX_500


def _bridge(range_pa: float) -> PressureSensor:
    return PressureSensor.within(BRIDGE_FULL_SCALE_PERCENT / 100.0 * range_pa, 0.25, range_pa)
