"""From the element and its pressure sensor to the core's AirPlan."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

from linetender.airline.air_density import density_kg_m3
from linetender.airline.fitted_element import differential_pa, k_at_density
from linetender.airline.standard_atmosphere import pressure_pa
from linetender.airline.thermal_sensor import CALIBRATION_PRESSURE_PA, correction_factor
from linetender.core.plan import AirPlan
from linetender.core.signals import Signal
from linetender.settings.station import Device
from linetender.settings.station_file import FittedElement, HoodHoseElement, StationFile

THERMAL_CALIBRATION_PA: Mapping[str, float] = MappingProxyType(
    {"sdp8xx": CALIBRATION_PRESSURE_PA, "d6f_ph": pressure_pa(0.0)}
)
"""Air pressure (Pa) at which each driver's thermal sensors are calibrated.

They sense the mass that flows through them: at another air pressure p the true pressure
is the reading times calibration pressure / p. Source: SDP8xx, data sheets of the series
(966 mbar); D6F-PH, from memory (its sheet gives accuracies at 101.3 kPa).
"""

ROOM_TEMPERATURE_C = 20.0
ROOM_HUMIDITY_PERCENT = 50.0
"""Chosen for the air in the line where only the altitude is known; 10 °C are 3.5 % of
density and 1.7 % of flow, inside the uncertainty of a calibration by bag and stopwatch."""


class Calibration(NamedTuple):
    """A flow element of which k and n are known, in the air of the station.

    Attributes:
        k_l_min: L/min per Pa^n, at the station's air density.
        relative_uncertainty: Standard uncertainty of the airflow over the airflow.
    """

    k_l_min: float
    relative_uncertainty: float


def air_signal(station: StationFile, devices: tuple[Device, ...]) -> Signal | None:
    """Return the signal that is the pressure across the element, or None if nothing gives it."""
    if station.element is None:
        return None
    given = {signal for device in devices for signal in device.signals}
    for signal in _candidates(station):
        if signal in given:
            return signal
    return None


def _candidates(station: StationFile) -> tuple[Signal, ...]:
    """A hose and hood are sensed at the hood's end; orifice, pitot and duct only in the line."""
    if isinstance(station.element, HoodHoseElement):
        return (Signal.HOOD_PRESSURE_PA, Signal.DUCT_PRESSURE_PA)
    if isinstance(station.element, FittedElement):
        if station.element.signal is not None:
            return (Signal(station.element.signal),)
        return (Signal.DUCT_PRESSURE_PA, Signal.HOOD_PRESSURE_PA)
    return (Signal.DUCT_PRESSURE_PA,)


def calibration(station: StationFile) -> Calibration | None:
    """Return the element's calibration in the station's air, or None where there is none."""
    element = station.element
    if not isinstance(element, FittedElement):
        return None
    reference_kg_m3 = element.reference_density_kg_m3
    here_kg_m3 = reference_kg_m3
    if station.station.altitude_m is not None:
        here_kg_m3 = station_density_kg_m3(station.station.altitude_m)
    k_l_min = k_at_density(element.k, element.n, here_kg_m3, reference_kg_m3)
    return Calibration(k_l_min, element.standard_uncertainty_percent / 100.0)


def station_density_kg_m3(altitude_m: float) -> float:
    """Return the density (kg/m³) of room air at an altitude (m) in the standard atmosphere."""
    return density_kg_m3(ROOM_TEMPERATURE_C, pressure_pa(altitude_m), ROOM_HUMIDITY_PERCENT)


def required_reading_l_min(station: StationFile, uncertainties: float) -> float | None:
    """Return the airflow that must be read so that the required one surely arrives.

    Args:
        station: The station file.
        uncertainties: How many standard uncertainties m are taken off the reading.

    Returns:
        Qmin / (1 - m·u), since Q - m·u·Q < Qmin is the same as Q below this (L/min);
        None where the line is not calibrated or no required airflow is stated.
    """
    known, required = calibration(station), station.station.required_airflow_l_min
    if known is None or required is None:
        return None
    return required / (1.0 - uncertainties * known.relative_uncertainty)


def normal_pa(station: StationFile) -> float | None:
    """Return the normal pressure of the line (Pa), or None where nothing states it.

    One that is stated, or was taught, is as the sensor reads it, its zero included. A
    calibrated line that states none has as its normal the true pressure of the
    least airflow it may run at, required airflow and two uncertainties.
    """
    element, known = station.element, calibration(station)
    if element is None or element.normal_pa is not None:
        return None if element is None else element.normal_pa
    least_l_min = required_reading_l_min(station, 2.0)
    if known is None or least_l_min is None:
        return None
    return differential_pa(least_l_min, known.k_l_min, element.exponent)


def air_plan(station: StationFile, devices: tuple[Device, ...]) -> AirPlan | None:
    """Compile how air is derived; None where nothing senses it or its normal is not known."""
    signal, normal = air_signal(station, devices), normal_pa(station)
    if station.element is None or signal is None or normal is None:
        return None
    known = calibration(station)
    factor = pressure_factor(station, signal, devices)
    zero_pa = station.element.zero_pa
    return AirPlan(
        signal=signal,
        # One that is stated was read from the sensor; one that was reckoned is true.
        normal_pa=normal / factor if station.element.normal_pa is None else normal - zero_pa,
        exponent=station.element.exponent,
        pressure_factor=factor,
        k_l_min=known.k_l_min if known else None,
        relative_uncertainty=known.relative_uncertainty if known else 0.0,
        required_l_min=station.station.required_airflow_l_min if known else None,
        zero_pa=zero_pa,
    )


def pressure_factor(station: StationFile, signal: Signal, devices: tuple[Device, ...]) -> float:
    """Return true pressure over reading (1): a thermal sensor's at the station's altitude."""
    altitude_m = station.station.altitude_m
    calibrated_pa = next(
        (
            THERMAL_CALIBRATION_PA[device.driver]
            for device in devices
            if signal in device.signals and device.driver in THERMAL_CALIBRATION_PA
        ),
        None,
    )
    if altitude_m is None or calibrated_pa is None:
        return 1.0
    return correction_factor(pressure_pa(altitude_m), calibrated_pa)
