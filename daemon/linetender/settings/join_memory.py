"""Put what the memory has in force where a station file has it, before the compile.

`calibrate` writes to the memory, people write to the file. For each of the normal
pressure and the calibration one of the two may speak, never both.
"""

from dataclasses import replace

from msgspec import structs

from linetender.airline.air_state import AirState, air_at_altitude
from linetender.airline.fitted_element import CalibratedElement
from linetender.airline.flow_estimate import FlowEstimate, flow_estimate
from linetender.core.plan import Plan
from linetender.core.signals import Signal
from linetender.settings.compile_air import air_signal, pressure_factor
from linetender.settings.positions import Path
from linetender.settings.pressure_sensors import sensor_of
from linetender.settings.problems import Problem, StationFileError
from linetender.settings.remembered import Calibrated, Remembered, Taught
from linetender.settings.station import Device
from linetender.settings.station_file import Element, FittedElement, StationFile
from linetender.settings.toml_file import TomlFile

ROOM_TEMPERATURE_C = 20.0
"""Chosen for the air in the line, where only the altitude is known."""

GREATEST_PERCENT = 20.0
"""Standard uncertainty of the airflow past which no limit in L/min means anything; a
station file cannot state more either."""

LEAST_PERCENT = 0.1


def with_memory(
    station: StationFile, devices: tuple[Device, ...], remembered: Remembered, toml: TomlFile
) -> StationFile:
    """Return the station with its normal pressure and calibration put where a file has them.

    Raises:
        StationFileError: file and memory both speak, or the memory speaks of another
            sensor or signal than the file names now.
    """
    element, signal = station.element, air_signal(station, devices)
    taught, calibrated = remembered.taught, remembered.calibrated
    if element is None or signal is None or (taught is None and calibrated is None):
        return station
    device = next(device for device in devices if signal in device.signals)
    problems = _spoken_twice(station, remembered, toml)
    for known in (taught, calibrated):
        if known is not None and (known.driver, known.signal) != (device.driver, signal.value):
            problems.append(_other_sensor(known, device, signal, toml))
    zero_pa = remembered.zero_pa or 0.0
    normal_pa = element.normal_pa
    if taught is not None:  # the zero may have been measured anew since
        normal_pa = taught.normal_pa - taught.zero_pa + zero_pa
    elif normal_pa is not None and normal_pa <= zero_pa:
        problems.append(_below_zero(normal_pa, zero_pa, toml))
    if problems:
        raise StationFileError(problems)
    if calibrated is None:
        joined: Element = element.model_copy(update={"normal_pa": normal_pa})
    else:
        joined = _fitted(station, calibrated, device, signal, normal_pa, toml)
    joined = joined.model_copy(update={"zero_pa": zero_pa})
    return station.model_copy(update={"element": joined})


def with_taught_faults(plan: Plan, taught: Taught | None) -> Plan:
    """Return the plan with what the line's faults looked like when it was taught."""
    if plan.air is None or taught is None:
        return plan
    air = structs.replace(
        plan.air,
        pinched_percent=taught.pinched_percent,
        duct_off_percent=taught.duct_off_percent,
    )
    return structs.replace(plan, air=air)


def _spoken_twice(station: StationFile, remembered: Remembered, toml: TomlFile) -> list[Problem]:
    element, problems = station.element, []
    if remembered.taught is not None and element is not None and element.normal_pa is not None:
        path: Path = ("element", "normal_pa")
        expected = (
            f"the line was taught on {remembered.taught.made_at[:10]} "
            f"({remembered.taught.normal_pa:.4g} Pa); file and memory cannot both be right"
        )
        remedy = "remove normal_pa here, or drop what was taught: linetender calibrate --forget"
        problems.append(toml.problem(path, expected, remedy, element.normal_pa))
    if remembered.zero_pa is not None and element is not None and element.zero_pa != 0.0:
        expected = f"a zero of {remembered.zero_pa:.3g} Pa was measured on this line"
        remedy = "remove zero_pa here, or drop what was measured: linetender calibrate --forget"
        problems.append(toml.problem(("element", "zero_pa"), expected, remedy, element.zero_pa))
    if remembered.calibrated is not None and isinstance(element, FittedElement):
        expected = (
            f"the line was calibrated on {remembered.calibrated.made_at[:10]}; k and n of file "
            "and memory cannot both be right"
        )
        remedy = (
            'write what the element is, e.g. kind = "hood_hose", without k and n; or drop the '
            "calibration: linetender calibrate --forget"
        )
        problems.append(toml.problem(("element", "kind"), expected, remedy, element.kind))
    return problems


def _below_zero(normal_pa: float, zero_pa: float, toml: TomlFile) -> Problem:
    expected = f"the zero that was measured is {zero_pa:.3g} Pa; more than that was expected"
    return toml.problem(("element", "normal_pa"), expected, "teach the line anew", normal_pa)


def _other_sensor(
    known: Taught | Calibrated, device: Device, signal: Signal, toml: TomlFile
) -> Problem:
    what = "taught" if isinstance(known, Taught) else "calibrated"
    expected = (
        f"the line was {what} with {known.driver} as {known.signal}, and this is "
        f"{device.driver} as {signal.value}"
    )
    remedy = "teach and calibrate the line anew after: linetender calibrate --forget"
    return toml.problem(("devices", device.name, "driver"), expected, remedy, device.driver)


def _fitted(
    station: StationFile,
    calibrated: Calibrated,
    device: Device,
    signal: Signal,
    normal_pa: float | None,
    toml: TomlFile,
) -> FittedElement:
    element = calibrated_here(station, (device,), calibrated)
    estimate = least_flow_estimate(station, device, element)
    percent = max(LEAST_PERCENT, 100.0 * estimate.relative_uncertainty)
    if percent > GREATEST_PERCENT:
        expected = (
            f"the calibration of {calibrated.made_at[:10]} leaves {estimate.airflow_l_min:.0f} "
            f"L/min uncertain by {percent:.0f} %; {GREATEST_PERCENT:g} % at most was expected"
        )
        remedy = "calibrate again, with points near that airflow"
        path: Path = ("station", "required_airflow_l_min")
        raise StationFileError([toml.problem(path, expected, remedy, toml.at(path))])
    return FittedElement.model_validate(
        {
            "kind": "fitted",
            "normal_pa": normal_pa,
            "k": element.k_l_min,
            "n": element.exponent,
            "signal": signal.value,
            "reference_density_kg_m3": element.reference_air.density_kg_m3,
            "standard_uncertainty_percent": percent,
        }
    )


def calibrated_here(
    station: StationFile, devices: tuple[Device, ...], calibrated: Calibrated
) -> CalibratedElement:
    """Return a calibrated element for pressures as the station corrects its readings now.

    They may be multiplied otherwise than they were, as when the altitude was added.
    """
    now = pressure_factor(station, Signal(calibrated.signal), devices)
    return calibrated.element.for_pressures_times(now / calibrated.pressure_factor)


def least_flow_estimate(
    station: StationFile, device: Device, element: CalibratedElement
) -> FlowEstimate:
    """Return the airflow with its budget (GUM) where it matters: at the required airflow.

    Where none is required, at the least pressure of the calibration. Its relative
    uncertainty is then taken for every flow of the station: too large above this
    airflow, too small below it, where the zero weighs more.

    In it: bag or anemometer, the fit, the sensor's zero, the air between seasons. Not in
    it: the sensor's span, for k holds it while the sensor is this very one; noise of
    single readings; whatever changes in the line later; extrapolation, which is a flag.
    """
    altitude_m = station.station.altitude_m
    air: AirState = element.reference_air
    if altitude_m is not None:
        air = air_at_altitude(altitude_m, ROOM_TEMPERATURE_C)
    required_l_min = station.station.required_airflow_l_min
    pressure_pa = max(element.least_pa, 0.5)
    if required_l_min is not None:
        pressure_pa = element.differential_pa(required_l_min, air)
    sensor = replace(sensor_of(device), span_relative=0.0)
    return flow_estimate(element, pressure_pa, air, sensor)
