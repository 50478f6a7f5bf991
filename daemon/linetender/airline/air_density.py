"""Density of moist air by the formula of the CIPM (2007)."""

import math

_GAS_CONSTANT_J_MOL_K = 8.314_472
_WATER_KG_MOL = 18.015_28e-3
_KELVIN_AT_0_C = 273.15

REFERENCE_CO2_FRACTION = 0.0004
"""Amount fraction of CO2 at which the formula's dry air is stated."""


def density_kg_m3(
    temperature_c: float,
    pressure_pa: float,
    humidity_percent: float,
    co2_fraction: float = REFERENCE_CO2_FRACTION,
) -> float:
    """Return the density of moist air.

    The formula is stated for 15 to 27 °C and 60 000 to 110 000 Pa; there its relative
    standard uncertainty is 2.2e-5. `is_within_stated_range` tells whether a case lies
    inside. Outside, from -10 to 35 °C, it stays within 2e-4 of an independent
    equation of state, far closer than an air line needs.

    Args:
        temperature_c: Air temperature (°C, above -273.15).
        pressure_pa: Absolute pressure (Pa, > 0).
        humidity_percent: Relative humidity (%, 0 to 100).
        co2_fraction: Amount fraction of CO2 (0 to 1).

    Returns:
        Density (kg/m³).

    Raises:
        ValueError: An argument is outside the range given above, or not a number.

    Source:
        Picard, Davis, Gläser, Fujii: Revised formula for the density of moist air
        (CIPM-2007), Metrologia 45 (2008) 149-155, equation 1 and appendix A.
    """
    _check(temperature_c, pressure_pa, humidity_percent)
    kelvin = temperature_c + _KELVIN_AT_0_C
    vapour = vapour_fraction(temperature_c, pressure_pa, humidity_percent)
    factor = compressibility(temperature_c, pressure_pa, vapour)
    dry_kg_mol = (28.965_46 + 12.011 * (co2_fraction - REFERENCE_CO2_FRACTION)) * 1e-3
    dry_kg_m3 = pressure_pa * dry_kg_mol / (factor * _GAS_CONSTANT_J_MOL_K * kelvin)
    return dry_kg_m3 * (1.0 - vapour * (1.0 - _WATER_KG_MOL / dry_kg_mol))


def is_within_stated_range(temperature_c: float, pressure_pa: float) -> bool:
    """Whether the CIPM states the formula for this temperature (°C) and pressure (Pa)."""
    return 15.0 <= temperature_c <= 27.0 and 60_000.0 <= pressure_pa <= 110_000.0


def saturation_pressure_pa(temperature_c: float) -> float:
    """Return the pressure (Pa) of saturated water vapour at a temperature (°C).

    Source:
        CIPM-2007, equation A1.1.
    """
    kelvin = temperature_c + _KELVIN_AT_0_C
    return math.exp(
        1.237_884_7e-5 * kelvin * kelvin
        - 1.912_131_6e-2 * kelvin
        + 33.937_110_47
        - 6.343_164_5e3 / kelvin
    )


def enhancement_factor(temperature_c: float, pressure_pa: float) -> float:
    """Return by how much air raises the saturation pressure of water over the pure vapour's (1).

    Source:
        CIPM-2007, equation A1.2.
    """
    return 1.000_62 + 3.14e-8 * pressure_pa + 5.6e-7 * temperature_c * temperature_c


def vapour_fraction(temperature_c: float, pressure_pa: float, humidity_percent: float) -> float:
    """Return the amount fraction of water vapour (0 to 1), from °C, Pa and % relative humidity.

    Source:
        CIPM-2007, equation A1.3.
    """
    saturated = enhancement_factor(temperature_c, pressure_pa) * saturation_pressure_pa(
        temperature_c
    )
    return humidity_percent / 100.0 * saturated / pressure_pa


def compressibility(temperature_c: float, pressure_pa: float, vapour: float) -> float:
    """Return the compressibility factor Z (1) of moist air.

    Args:
        temperature_c: Air temperature (°C).
        pressure_pa: Absolute pressure (Pa).
        vapour: Amount fraction of water vapour (0 to 1).

    Source:
        CIPM-2007, equation A1.4.
    """
    ratio = pressure_pa / (temperature_c + _KELVIN_AT_0_C)
    first = (
        1.581_23e-6
        - 2.933_1e-8 * temperature_c
        + 1.104_3e-10 * temperature_c * temperature_c
        + (5.707e-6 - 2.051e-8 * temperature_c) * vapour
        + (1.989_8e-4 - 2.376e-6 * temperature_c) * vapour * vapour
    )
    second = 1.83e-11 - 0.765e-8 * vapour * vapour
    return 1.0 - ratio * first + ratio * ratio * second


def _check(temperature_c: float, pressure_pa: float, humidity_percent: float) -> None:
    if not -_KELVIN_AT_0_C < temperature_c < math.inf:
        raise ValueError(f"air temperature {temperature_c} °C is not above absolute zero")
    if not 0.0 < pressure_pa < math.inf:
        raise ValueError(f"air pressure {pressure_pa} Pa is not above 0")
    if not 0.0 <= humidity_percent <= 100.0:
        raise ValueError(f"relative humidity {humidity_percent} % is outside 0 to 100")
