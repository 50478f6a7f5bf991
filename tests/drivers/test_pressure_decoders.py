"""The pressure sensors' decoders: any bytes give a number or a typed error; parts and options."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from linetender_drivers.converters.ads1115_decode import decode_conversion
from linetender_drivers.crc_words import crc8
from linetender_drivers.errors import BadFrame, DriverConfigError
from linetender_drivers.pressure.ads1115_pressure_decode import Transducer
from linetender_drivers.pressure.ads1115_pressure_spec import Ads1115PressureOptions
from linetender_drivers.pressure.bridge_decode import BridgeRange, decode_bridge
from linetender_drivers.pressure.d6f_ph_decode import (
    CRC_START,
    RANGES,
    decode_word,
    differential_pa,
)
from linetender_drivers.pressure.d6f_ph_spec import D6fPhOptions
from linetender_drivers.pressure.hsc_decode import hsc_part
from linetender_drivers.pressure.hsc_spec import HscOptions
from linetender_drivers.pressure.ms4525do_decode import ms4525do_range
from linetender_drivers.pressure.ms4525do_spec import Ms4525doOptions
from linetender_drivers.signal_roles import one_pressure

ANY_BYTES = st.binary(max_size=6)


@given(st.one_of(ANY_BYTES, st.binary(min_size=2, max_size=2).map(lambda w: w + b"\x00")))
def test_any_bytes_are_a_d6f_word_with_its_crc_or_a_bad_frame(frame: bytes) -> None:
    try:
        counts = decode_word(frame, "air")
    except BadFrame as error:
        assert error.frame == frame
    else:
        assert crc8(frame[:2], CRC_START) == frame[2]
        assert 0 < counts <= 0xFFFF


@given(st.integers(0, 0xFFFF), st.sampled_from(sorted(RANGES)))
def test_a_d6f_pressure_lies_in_its_range_or_is_none(counts: int, product: str) -> None:
    pressure_pa = differential_pa(counts, product)
    low_pa, span_pa = RANGES[product]
    assert pressure_pa is None or abs(pressure_pa - low_pa - span_pa / 2) <= 0.51 * span_pa


@given(ANY_BYTES)
def test_any_bytes_are_a_bridge_frame_or_bad(frame: bytes) -> None:
    try:
        decoded = decode_bridge(frame, "air")
    except BadFrame as error:
        assert error.frame == frame
        assert len(frame) != 4 or frame[0] & 0x40
    else:
        assert 0 <= decoded.pressure_counts <= 16383
        assert -50.0 <= decoded.temperature_c <= 150.0


@given(st.integers(0, 16383), st.sampled_from("ABCF"))
def test_a_bridge_pressure_lies_in_its_range_or_is_none(counts: int, function: str) -> None:
    pressure_pa = hsc_part(f"HSCDRRN250LD2{function}3").pressure_range.pressure_pa(counts)
    assert pressure_pa is None or abs(pressure_pa) <= 255.0


@given(ANY_BYTES, st.sampled_from([2048, 4096, 6144]))
def test_any_bytes_are_a_conversion_or_bad(frame: bytes, full_scale_mv: int) -> None:
    try:
        decoded = decode_conversion(frame, full_scale_mv, "adc")
    except BadFrame as error:
        assert error.frame == frame
    else:
        assert abs(decoded.voltage_v) <= full_scale_mv / 1000


TRANSDUCER = Transducer(0.0, 500.0, 0.1, 0.9, 4.75, 5.25)


@pytest.mark.parametrize(
    ("output_v", "supply_v", "pressure_pa"),
    [
        (0.5, 5.0, 0.0),
        (2.5, 5.0, 250.0),
        (4.5, 5.0, 500.0),
        (2.4, 4.8, 250.0),  # the supply sags, the pressure does not
        (0.0, 5.0, None),  # wire off or output shorted to ground
        (5.0, 5.0, None),  # shorted to the supply
        (2.5, 3.3, None),  # not its supply
        (0.0, 0.0, None),
    ],
)
def test_a_ratiometric_transducer(
    output_v: float, supply_v: float, pressure_pa: float | None
) -> None:
    found = TRANSDUCER.pressure_pa(output_v, supply_v)
    assert found == (pressure_pa if pressure_pa is None else pytest.approx(pressure_pa, abs=1e-9))


@pytest.mark.parametrize(
    ("part_number", "address", "ends_pa"),
    [
        ("HSCDRRN002ND2A3", 0x28, (-498.1778, 498.1778)),
        ("SSCSANN010MG3F5", 0x38, (0.0, 1000.0)),
        ("HSCMRRV001PD7B3", 0x78, (-6894.757, 6894.757)),
    ],
)
def test_what_a_part_number_says(
    part_number: str, address: int, ends_pa: tuple[float, float]
) -> None:
    found = hsc_part(part_number)
    assert found.address == address
    assert found.pressure_range[2:] == pytest.approx(ends_pa)
    assert HscOptions(bus="simulated", part_number=part_number).period_s == 0.04


@pytest.mark.parametrize(
    "part_number",
    [
        "",
        "HSCDRRN002NDAA5",  # analogue output
        "HSCDRRN002NDSA3",  # SPI
        "HSCDANN015PA2A3",  # absolute
        "HSCDRRN002ND2D3",  # no such transfer function
        "hscdrrn002nd2a3",
    ],
)
def test_other_part_numbers_are_refused(part_number: str) -> None:
    with pytest.raises(ValueError, match="expected one such as"):
        hsc_part(part_number)
    with pytest.raises(ValidationError):
        HscOptions(bus="simulated", part_number=part_number)


def test_output_type_b_is_wider() -> None:
    wider = BridgeRange(819.15, 15563.85, -6894.757, 6894.757)
    assert ms4525do_range(1, "B") == pytest.approx(wider)


@pytest.mark.parametrize(
    ("model", "options"),
    [
        (D6fPhOptions, {}),
        (D6fPhOptions, {"product": "D6F-PH9999"}),
        (D6fPhOptions, {"product": "D6F-PH5050", "address": 0x25}),
        (D6fPhOptions, {"product": "D6F-PH5050", "period_s": 0.02}),
        (Ms4525doOptions, {"range_psi": 3}),
        (Ms4525doOptions, {"address": 0x62}),
        (Ads1115PressureOptions, {"low_pa": 0.0}),
        (Ads1115PressureOptions, {"low_pa": 500.0, "high_pa": 0.0}),
        (Ads1115PressureOptions, {"low_pa": 0.0, "high_pa": 500.0, "supply_input": 0}),
        (Ads1115PressureOptions, {"low_pa": 0.0, "high_pa": 500.0, "full_scale_mv": 1024}),
        (Ads1115PressureOptions, {"low_pa": 0.0, "high_pa": float("inf")}),
    ],
)
def test_bad_options_are_refused(model: type[D6fPhOptions], options: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        model.model_validate({"bus": "simulated", **options})


@pytest.mark.parametrize("roles", [(), ("element_temperature_c",), ("duct_pressure_pa",) * 2])
def test_exactly_one_pressure(roles: tuple[str, ...]) -> None:
    with pytest.raises(DriverConfigError, match="exactly one of"):
        one_pressure("air", roles, frozenset({"element_temperature_c"}))
