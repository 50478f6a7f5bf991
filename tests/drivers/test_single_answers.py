"""Drivers that decode single answers: measurements or BadFrame, and nothing else."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linetender_drivers.crc_words import with_crcs
from linetender_drivers.errors import BadFrame
from linetender_drivers.gas.scd30_spec import Scd30Options
from linetender_drivers.measurements import Measurement
from linetender_drivers.oximeter.plx_spec import PlxOptions
from linetender_drivers.pressure.sdp8xx_spec import Sdp8xxOptions
from linetender_drivers.registry import DeviceOptions, driver_names, find_spec

WITH_DECODER: dict[str, tuple[DeviceOptions, tuple[str, ...]]] = {
    "sdp8xx": (Sdp8xxOptions(bus="simulated"), ("duct_pressure_pa", "element_temperature_c")),
    "scd30": (Scd30Options(bus="simulated"), ("hood_co2_ppm",)),
    "plx_oximeter": (PlxOptions(address="only"), ("spo2_percent", "pulse_rate_bpm")),
}


def decoded(driver: str, frame: bytes) -> tuple[Measurement, ...]:
    options, roles = WITH_DECODER[driver]
    decode = find_spec(driver).decoder()
    assert decode is not None
    made: tuple[Measurement, ...] = decode("device", options, roles, frame)
    return made


def test_those_are_all_that_have_a_decoder() -> None:
    found = {name for name in driver_names() if find_spec(name).decoder() is not None}
    assert found == set(WITH_DECODER)


@pytest.mark.parametrize("driver", sorted(WITH_DECODER))
@given(frame=st.binary(max_size=24))
def test_any_bytes(driver: str, frame: bytes) -> None:
    try:
        made = decoded(driver, frame)
    except BadFrame as error:
        assert error.frame == frame
        return
    for one in made:
        assert one.signal in WITH_DECODER[driver][1]
        assert (one.value is None) is not (one.reason is None)
        assert one.value is None or math.isfinite(one.value)


def test_a_pressure_and_its_temperature() -> None:
    """By hand: 600 counts at 60 per pascal, 4200 at 200 per °C."""
    frame = with_crcs(bytes.fromhex("0258 1068 003c".replace(" ", "")))
    assert decoded("sdp8xx", frame) == (
        Measurement("duct_pressure_pa", 10.0),
        Measurement("element_temperature_c", 21.0),
    )


def test_the_identifier_is_no_measurement() -> None:
    assert decoded("sdp8xx", bytes(18)) == ()


def test_a_carbon_dioxide_and_what_is_none() -> None:
    """The interface description's example: 439.09 ppm at 27.2 °C and 48.8 %."""
    frame = with_crcs(bytes.fromhex("43db8c2e41d9e7ff42433a1b"))
    (one,) = decoded("scd30", frame)
    assert one.value == pytest.approx(439.09, abs=0.01)
    assert decoded("scd30", frame[:3]) == ()
    with pytest.raises(BadFrame):
        decoded("scd30", frame[:-1] + bytes([frame[-1] ^ 1]))


def test_an_oximeter_gives_only_what_the_station_wants() -> None:
    """Flags 0, 97 % and 72 per minute as SFLOATs with exponent 0."""
    assert decoded("plx_oximeter", bytes.fromhex("0061004800")) == (
        Measurement("spo2_percent", 97.0),
        Measurement("pulse_rate_bpm", 72.0),
    )
