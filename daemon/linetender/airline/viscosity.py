"""Dynamic viscosity of air by Sutherland's formula."""

import math

_KELVIN_AT_0_C = 273.15
_SUTHERLAND_K = 110.4
_BETA_KG_M_S_SQRT_K = 1.458e-6


def viscosity_pa_s(temperature_c: float) -> float:
    """Return the dynamic viscosity of dry air.

    Pressure does not matter at the pressures of an air line. Humidity lowers it by
    less than 1 % below 30 °C and is left out. Newer equations of state give 0.3 to
    0.5 % more between 0 and 40 °C.

    Args:
        temperature_c: Air temperature (°C, above -273.15).

    Returns:
        Dynamic viscosity (Pa·s), about 1.8e-5.

    Raises:
        ValueError: The temperature is not above absolute zero, or not a number.

    Source:
        ISO 2533:1975, section 2.13 (Sutherland's formula and its constants).
    """
    if not -_KELVIN_AT_0_C < temperature_c < math.inf:
        raise ValueError(f"air temperature {temperature_c} °C is not above absolute zero")
    kelvin = temperature_c + _KELVIN_AT_0_C
    return _BETA_KG_M_S_SQRT_K * kelvin * math.sqrt(kelvin) / (kelvin + _SUTHERLAND_K)
