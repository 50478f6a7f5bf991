"""Reynolds number and Darcy friction factor in round pipes."""

import math

from linetender.airline.air_state import AirState
from linetender.airline.trade_units import M3_S_PER_L_MIN

LAMINAR_UP_TO = 2300.0
TURBULENT_FROM = 4000.0
"""Reynolds numbers between which a pipe flow may be of either kind (common practice)."""


def area_m2(diameter_mm: float) -> float:
    """Return the area (m²) of a round section of this diameter (mm)."""
    return math.pi / 4.0 * (diameter_mm * 1e-3) ** 2


def velocity_m_s(airflow_l_min: float, diameter_mm: float) -> float:
    """Return the mean velocity (m/s) of an airflow (L/min) in a pipe (mm)."""
    return airflow_l_min * M3_S_PER_L_MIN / area_m2(diameter_mm)


def airflow_at_velocity_l_min(velocity_m_s: float, diameter_mm: float) -> float:
    """Return the airflow (L/min) of a mean velocity (m/s) in a pipe (mm)."""
    return velocity_m_s * area_m2(diameter_mm) / M3_S_PER_L_MIN


def velocity_pressure_pa(airflow_l_min: float, diameter_mm: float, air: AirState) -> float:
    """Return the velocity head ½ρV² (Pa) of an airflow (L/min) in a pipe (mm)."""
    return 0.5 * air.density_kg_m3 * velocity_m_s(airflow_l_min, diameter_mm) ** 2


def reynolds(airflow_l_min: float, diameter_mm: float, air: AirState) -> float:
    """Return the Reynolds number (1) of an airflow (L/min) in a pipe (mm)."""
    velocity = velocity_m_s(airflow_l_min, diameter_mm)
    return air.density_kg_m3 * velocity * diameter_mm * 1e-3 / air.viscosity_pa_s


def airflow_at_reynolds_l_min(reynolds_number: float, diameter_mm: float, air: AirState) -> float:
    """Return the airflow (L/min) that has a Reynolds number in a pipe (mm)."""
    velocity = reynolds_number * air.viscosity_pa_s / (air.density_kg_m3 * diameter_mm * 1e-3)
    return airflow_at_velocity_l_min(velocity, diameter_mm)


def laminar(reynolds_number: float) -> float:
    """Return the friction factor (1) of laminar flow: 64/Re (Hagen and Poiseuille)."""
    return 64.0 / reynolds_number


def colebrook(reynolds_number: float, relative_roughness: float) -> float:
    """Return the friction factor (1) of turbulent flow.

    Args:
        reynolds_number: Re (1, > 0).
        relative_roughness: ε/D (1, >= 0).

    Source:
        Colebrook, J. Inst. Civ. Eng. 11 (1939) 133-156:
        1/√f = -2 log10(ε/(3.7 D) + 2.51/(Re √f)), solved by Newton's method.
    """
    rough, smooth = relative_roughness / 3.7, 2.51 / reynolds_number
    inverse_root = 7.0  # f = 0.02: from here three or four steps reach the last digit
    for _ in range(50):
        inside = rough + smooth * inverse_root
        miss = inverse_root + 2.0 * math.log10(inside)
        step = miss / (1.0 + 2.0 * smooth / (math.log(10.0) * inside))
        inverse_root -= step
        if abs(step) <= 1e-14 * inverse_root:
            break
    return 1.0 / inverse_root**2


def friction_factor(reynolds_number: float, relative_roughness: float) -> float:
    """Return the Darcy friction factor (1), continuous from laminar to turbulent.

    Between Re 2300 and 4000 the flow may be of either kind, and no formula holds. So
    that a line can still be solved, the factor runs there straight in log f over
    log Re (chosen); whoever uses it says that it is no better than its two ends.

    Args:
        reynolds_number: Re (1, > 0).
        relative_roughness: ε/D (1, >= 0).
    """
    if reynolds_number <= LAMINAR_UP_TO:
        return laminar(reynolds_number)
    if reynolds_number >= TURBULENT_FROM:
        return colebrook(reynolds_number, relative_roughness)
    low, high = laminar(LAMINAR_UP_TO), colebrook(TURBULENT_FROM, relative_roughness)
    way = math.log(reynolds_number / LAMINAR_UP_TO) / math.log(TURBULENT_FROM / LAMINAR_UP_TO)
    return math.exp((1.0 - way) * math.log(low) + way * math.log(high))


def is_transition(reynolds_number: float) -> bool:
    """Whether a pipe flow of this Reynolds number may be laminar or turbulent."""
    return LAMINAR_UP_TO < reynolds_number < TURBULENT_FROM
