"""Every driver of a pressure sensor has its uncertainty and range."""

import math
from typing import Any

import pytest

from linetender.core.signals import Signal
from linetender.settings.pressure_sensors import UNKNOWN, sensor_of
from linetender.settings.station import Device
from linetender_drivers.registry import driver_names, find_spec
from linetender_drivers.signal_roles import PRESSURE_SIGNALS

BUS = {"bus": "simulated"}

# Driver, options, and by hand from what the part's name says: zero ± Pa, range in Pa.
PARTS: list[tuple[str, dict[str, Any], float, float]] = [
    ("sdp8xx", {}, 0.1, 500.0),
    ("sdp8xx", {"product": "SDP811-500Pa", "address": 0x26}, 0.1, 500.0),
    ("sdp8xx", {"product": "SDP800-125Pa"}, 0.08, 125.0),
    ("sdp8xx", {"product": "SDP32-125Pa", "address": 0x22}, 0.08, 125.0),
    ("sdp8xx", {"product": "SDP33-1500Pa", "address": 0x23}, 0.2, 1500.0),
    ("d6f_ph", {"product": "D6F-PH0505"}, 0.2, 50.0),
    ("d6f_ph", {"product": "D6F-PH0025"}, 0.2, 250.0),
    ("d6f_ph", {"product": "D6F-PH5050"}, 0.2, 500.0),
    ("hsc", {"part_number": "HSCDRRN250LD2A3"}, 0.625, 250.0),
    ("ms4525do", {"range_psi": 1}, 17.237, 6894.757),
    ("ads1115_pressure", {"low_pa": -500.0, "high_pa": 500.0}, 1.25, 500.0),
]


def device(driver: str, options: dict[str, Any]) -> Device:
    spec = find_spec(driver)
    made = spec.options.model_validate({**BUS, **options})
    return Device("air", driver, spec, made, (Signal.DUCT_PRESSURE_PA,))


@pytest.mark.parametrize(("driver", "options", "zero_pa", "range_pa"), PARTS)
def test_each_part(driver: str, options: dict[str, Any], zero_pa: float, range_pa: float) -> None:
    sensor = sensor_of(device(driver, options))
    assert sensor.zero_pa * math.sqrt(3.0) == pytest.approx(zero_pa, rel=1e-3)
    assert sensor.range_pa == pytest.approx(range_pa)
    assert sensor.is_thermal is (driver in ("sdp8xx", "d6f_ph"))


def test_no_driver_of_a_pressure_sensor_is_left_out() -> None:
    listed = {driver for driver, *_ in PARTS}
    for name in sorted(set(driver_names()) - listed):
        spec = find_spec(name)
        if spec.kind.value != "sensor" or name == "forwarded":
            continue
        try:
            options = spec.options.model_validate(BUS)
        except ValueError:
            continue  # wants options of another kind of part: none of those in PARTS
        assert not PRESSURE_SIGNALS & spec.provides(options), f"{name} has no row in PARTS"


def test_a_part_that_is_not_known_is_taken_as_coarse() -> None:
    known = device("sdp8xx", {})
    strange = Device("air", "homemade", known.spec, known.options, known.signals)
    assert sensor_of(strange) == UNKNOWN
    assert UNKNOWN.zero_pa > 5 * sensor_of(known).zero_pa
