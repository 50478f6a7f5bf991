"""What of a station file `calibrate` needs: the element, and the device that senses it.

It reads stations that would not be fit to run yet, for want of the very thing that a
calibration finds: their normal pressure.
"""

from dataclasses import dataclass
from pathlib import Path

from linetender.airline.air_state import AirState, air_at, air_at_altitude
from linetender.airline.pressure_sensor import PressureSensor
from linetender.airline.standard_atmosphere import pressure_pa
from linetender.core.plan import Arrangement
from linetender.core.signals import Signal
from linetender.settings.compile_air import air_signal, pressure_factor
from linetender.settings.devices import FindSpec, devices_of
from linetender.settings.load import validated
from linetender.settings.pressure_sensors import sensor_of
from linetender.settings.problems import StationFileError
from linetender.settings.station import Device
from linetender.settings.station_file import Element, FittedElement, StationFile
from linetender.settings.toml_file import TomlFile, read_toml
from linetender_drivers.registry import find_spec as installed_spec


@dataclass(frozen=True)
class CalibrationTarget:
    """A line that can be taught and calibrated.

    Attributes:
        path: The station file.
        settings: What it says.
        element: The flow element.
        device: The sensor of the pressure across it.
        signal: That pressure.
        sensor: The sensor's uncertainties.
        pressure_factor: By what its readings are multiplied.
        toml: The file, for lines.
    """

    path: Path
    settings: StationFile
    element: Element
    device: Device
    signal: Signal
    sensor: PressureSensor
    pressure_factor: float
    toml: TomlFile

    @property
    def station(self) -> str:
        """The station's id."""
        return self.settings.station.id

    @property
    def box_at_wearer(self) -> bool:
        """Whether the sensor sits at the wearer's end."""
        return self.settings.station.arrangement is Arrangement.WEARER_SIDE

    def air(self, temperature_c: float, humidity_percent: float) -> AirState:
        """Return the air in the line, at the station's altitude where that is stated."""
        altitude_m = self.settings.station.altitude_m
        if altitude_m is None:
            return air_at(temperature_c, pressure_pa(0.0), humidity_percent)
        return air_at_altitude(altitude_m, temperature_c, humidity_percent)

    def refuse_if_stated(self, *, teach: bool) -> None:
        """Refuse what the file states already: the result could not be used beside it.

        Raises:
            StationFileError: with what to remove.
        """
        if teach and self.element.normal_pa is not None:
            path = ("element", "normal_pa")
            expected = "the file states the normal pressure; it would contradict what is taught"
            remedy = "remove normal_pa, then teach"
            raise StationFileError(
                [self.toml.problem(path, expected, remedy, self.element.normal_pa)]
            )
        if not teach and isinstance(self.element, FittedElement):
            expected = "the file states k and n; they would contradict a calibration"
            remedy = 'write what the element is, e.g. kind = "hood_hose", without k and n'
            raise StationFileError([self.toml.problem(("element", "kind"), expected, remedy)])


def load_target(path: Path, find_spec: FindSpec = installed_spec) -> CalibrationTarget:
    """Load what of a station file can be calibrated.

    Raises:
        StationFileError: the file is not in order, has no element, or no device senses it.
    """
    toml = read_toml(path)
    station = validated(toml)
    devices = devices_of(station, toml, find_spec)
    signal = air_signal(station, devices)
    if station.element is None or signal is None:
        expected = "there is nothing to calibrate: no device gives the pressure across an element"
        remedy = 'add [element] kind = "hood_hose" (or another) and a device with its pressure'
        raise StationFileError([toml.problem(("element",), expected, remedy)])
    device = next(device for device in devices if signal in device.signals)
    return CalibrationTarget(
        path=path,
        settings=station,
        element=station.element,
        device=device,
        signal=signal,
        sensor=sensor_of(device),
        pressure_factor=pressure_factor(station, signal, devices),
        toml=toml,
    )
