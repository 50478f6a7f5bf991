"""Figures of rules and physiology that a breathing-air line is measured against.

They are marks for comparison. No home-built line is approved under any of these rules,
and no protection factor may be claimed for one.
"""

import bisect
import math

from linetender.airline.quantity_checks import require_finite, require_not_negative

LEAST_TIGHT_FITTING_L_MIN = 115.0
LEAST_LOOSE_FITTING_L_MIN = 170.0
GREATEST_L_MIN = 425.0
"""Airflow of a type C supplied-air respirator: 42 CFR 84, subpart J, table 8 and 84.162(b)."""

HAND_BLOWER_L_MIN = 50.0
"""Airflow per wearer of a type A hand blower: 42 CFR 84.144."""

GREATEST_NOISE_DBA = 80.0
"""Noise inside hood or helmet at the greatest airflow: 42 CFR 84.140."""

LEAST_O2_FRACTION = 0.195
GREATEST_O2_FRACTION = 0.235
GREATEST_CO_FRACTION = 10e-6
GRADE_D_CO2_FRACTION = 1000e-6
GRADE_D_OIL_MG_M3 = 5.0
"""Grade D breathing air: 29 CFR 1910.134(i)(1)(ii)."""

CO2_EIGHT_HOURS_FRACTION = 5000e-6
"""Permissible exposure limit of OSHA for CO2, mean of eight hours."""

CO2_SHORT_TERM_FRACTION = 30_000e-6
"""Short-term exposure limit of NIOSH and ACGIH for CO2."""

CO2_DANGER_FRACTION = 40_000e-6
"""CO2 immediately dangerous to life or health (NIOSH)."""

INHALED_CO2_GREATEST_FRACTION = 0.025
INHALED_CO2_MEAN_FRACTION = 0.01
INHALED_CO2_AT_FACE_FRACTION = 0.02
"""Inhaled CO2 in apparatus: 30 CFR 11.4 of 1959; any sample, mean, and mean at the face."""

_KELVIN_AT_0_C = 273.15
_MET = (1.0, 1.2, 1.4, 2.0, 3.0, 4.0)
_CO2_L_S_AT_0_C = (0.0037, 0.0046, 0.0053, 0.0076, 0.0114, 0.0152)


def co2_output_l_min(met: float, temperature_c: float = 20.0) -> float:
    """Return the CO2 output of a man of 30 to 40 years.

    Between the published levels it is interpolated.

    Args:
        met: Level of work (met, 1 at rest to 4).
        temperature_c: Temperature at which the volume is told (°C).

    Returns:
        CO2 at 101 kPa (L/min).

    Raises:
        ValueError: The level is outside the published ones.

    Source:
        Persily and de Jonge, Indoor Air 27 (2017) 868-879, table 4 (volumes at 0 °C).
    """
    require_finite("temperature", temperature_c, "°C")
    if not _MET[0] <= met <= _MET[-1]:
        raise ValueError(f"{met} met is outside {_MET[0]:g} to {_MET[-1]:g}")
    upper = max(1, bisect.bisect_left(_MET, met))
    way = (met - _MET[upper - 1]) / (_MET[upper] - _MET[upper - 1])
    at_0_c = (1.0 - way) * _CO2_L_S_AT_0_C[upper - 1] + way * _CO2_L_S_AT_0_C[upper]
    return at_0_c * 60.0 * (temperature_c + _KELVIN_AT_0_C) / _KELVIN_AT_0_C


def peak_inspiration_l_min(ventilation_l_min: float) -> float:
    """Return the peak flow (L/min) of sinusoidal breathing: π times the minute volume (L/min).

    Above the airflow of the line a hood draws in air of the room.
    """
    require_not_negative("minute volume", ventilation_l_min, "L/min")
    return math.pi * ventilation_l_min
