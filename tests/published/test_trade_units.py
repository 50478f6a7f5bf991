"""Units of the trade and the litres of a standard, against their definitions and CoolProp.

Definitions: NIST SP 811 (from memory), computed with pint 0.25.3; water and dry air by CoolProp.
"""

import pytest
from CoolProp.CoolProp import PropsSI

from linetender.airline import trade_units
from linetender.airline.air_density import density_kg_m3
from linetender.airline.air_state import air_at
from linetender.airline.standard_flow import ReferenceConditions, StandardFlow, standard_flow


@pytest.mark.parametrize(
    ("ours", "published", "digits"),
    [
        (trade_units.L_MIN_PER_CFM, 28.316846592, 1e-12),
        (trade_units.PA_PER_INCH_OF_WATER, 249.0889, 5e-5),
        (trade_units.PA_PER_MM_OF_WATER, 9.80665, 1e-9),
        (trade_units.PA_PER_PSI, 6894.757, 5e-4),
        (trade_units.PA_PER_ATMOSPHERE, 101_325.0, 0.0),
        (trade_units.PA_PER_MM_OF_MERCURY, 133.322, 5e-4),
        (trade_units.L_MIN_PER_CFM, 0.3048**3 * 1000.0, 1e-12),
        (trade_units.M_S_PER_FPM, 0.3048 / 60.0, 1e-15),
    ],
)
def test_definitions(ours: float, published: float, digits: float) -> None:
    assert ours == pytest.approx(published, abs=digits)


@pytest.mark.parametrize(("kelvin", "published_pa"), [(288.706, 248.84), (293.15, 248.64)])
def test_inch_of_real_water(kelvin: float, published_pa: float) -> None:
    """60 °F and 68 °F: 0.10 and 0.18 % under the conventional inch."""
    real_pa = PropsSI("D", "T", kelvin, "P", 101_325.0, "Water") * 9.80665 * 0.0254
    assert real_pa == pytest.approx(published_pa, abs=6e-3)
    below_percent = 100.0 * (1.0 - real_pa / trade_units.PA_PER_INCH_OF_WATER)
    assert below_percent == pytest.approx({288.706: 0.10, 293.15: 0.18}[kelvin], abs=6e-3)


@pytest.mark.parametrize(
    ("l_min", "cfm"), [(100.0, 3.53), (115.0, 4.06), (170.0, 6.00), (425.0, 15.01)]
)
def test_airflows_in_cfm(l_min: float, cfm: float) -> None:
    assert l_min / trade_units.L_MIN_PER_CFM == pytest.approx(cfm, abs=5.1e-3)


def test_standard_litres_at_altitude() -> None:
    """170 standard L/min (20 °C, 101 325 Pa) are 203.7 actual ones at 84 556 Pa and 20 °C."""
    flow = StandardFlow(170.0, ReferenceConditions(20.0, 101_325.0))
    air = air_at(20.0, 84_556.0)
    assert flow.actual_l_min(air) == pytest.approx(203.7, abs=0.05)
    back = standard_flow(flow.actual_l_min(air), air, flow.reference)
    assert back.standard_l_min == pytest.approx(170.0)


@pytest.mark.parametrize(
    ("temperature_c", "published"),
    [(0.0, 1.2931), (15.0, 1.2255), (20.0, 1.2046), (21.1, 1.2000), (25.0, 1.1843)],
)
def test_density_of_what_is_called_standard(temperature_c: float, published: float) -> None:
    """Dry air at 101 325 Pa."""
    witness = PropsSI("D", "T", temperature_c + 273.15, "P", 101_325.0, "Air")
    assert witness == pytest.approx(published, abs=6e-5)
    assert density_kg_m3(temperature_c, 101_325.0, 0.0) == pytest.approx(witness, rel=1e-4)
