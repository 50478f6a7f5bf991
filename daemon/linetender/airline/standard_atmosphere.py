"""The standard atmosphere of ISO 2533 from below sea level to the tropopause."""

_SEA_LEVEL_PRESSURE_PA = 101_325.0
_SEA_LEVEL_TEMPERATURE_K = 288.15
_LAPSE_K_PER_M = -0.0065
_GRAVITY_M_S2 = 9.806_65
_GAS_CONSTANT_J_KG_K = 287.052_87
_EARTH_RADIUS_M = 6_356_766.0
_KELVIN_AT_0_C = 273.15

LOWEST_M = -2_000.0
HIGHEST_M = 11_000.0
"""Geometric altitudes between which this form of the standard holds (one lapse rate)."""


def pressure_pa(altitude_m: float) -> float:
    """Return the standard air pressure at an altitude.

    Args:
        altitude_m: Geometric altitude above mean sea level, as on a map (m, -2000 to
            11 000). It is not the geopotential altitude of aviation tables: at
            1500 m the two differ by 4 Pa.

    Returns:
        Pressure (Pa). Weather moves the true one by some ±3 %.

    Raises:
        ValueError: The altitude is outside the range, or not a number.

    Source:
        ISO 2533:1975, sections 2.1 to 2.6.
    """
    ratio = _temperature_k(altitude_m) / _SEA_LEVEL_TEMPERATURE_K
    exponent = -_GRAVITY_M_S2 / (_GAS_CONSTANT_J_KG_K * _LAPSE_K_PER_M)
    pressure: float = _SEA_LEVEL_PRESSURE_PA * ratio**exponent
    return pressure


def temperature_c(altitude_m: float) -> float:
    """Return the standard air temperature (°C) at a geometric altitude (m, -2000 to 11 000).

    Raises:
        ValueError: The altitude is outside the range, or not a number.

    Source:
        ISO 2533:1975, section 2.6.
    """
    return _temperature_k(altitude_m) - _KELVIN_AT_0_C


def _temperature_k(altitude_m: float) -> float:
    if not LOWEST_M <= altitude_m <= HIGHEST_M:
        raise ValueError(f"altitude {altitude_m} m is outside {LOWEST_M:.0f} to {HIGHEST_M:.0f} m")
    geopotential_m = _EARTH_RADIUS_M * altitude_m / (_EARTH_RADIUS_M + altitude_m)
    return _SEA_LEVEL_TEMPERATURE_K + _LAPSE_K_PER_M * geopotential_m
