"""What signals are called, and their units, for people."""

from typing import NamedTuple

from linetender.core.signals import Signal


class Quantity(NamedTuple):
    """A signal for people: its name and its unit as they are written."""

    name: str
    unit: str


QUANTITIES: dict[Signal, Quantity] = {
    Signal.DUCT_PRESSURE_PA: Quantity("pressure in the duct", "Pa"),
    Signal.HOOD_PRESSURE_PA: Quantity("pressure at the hood", "Pa"),
    Signal.FILTER_PRESSURE_PA: Quantity("pressure across the filter", "Pa"),
    Signal.AIRFLOW_L_MIN: Quantity("airflow", "L/min"),
    Signal.AIR_PERCENT_OF_BASELINE: Quantity("air, of this session's normal", "%"),
    Signal.ELEMENT_TEMPERATURE_C: Quantity("temperature at the sensor", "°C"),
    Signal.SPO2_PERCENT: Quantity("oxygen in the blood (SpO2)", "%"),
    Signal.PULSE_RATE_BPM: Quantity("pulse", "/min"),
    Signal.PULSE_AMPLITUDE_INDEX_PERCENT: Quantity("strength of the pulse", "%"),
    Signal.HOOD_CO2_PPM: Quantity("carbon dioxide in the hood", "ppm"),
    Signal.INTAKE_CO_PPM: Quantity("carbon monoxide at the intake", "ppm"),
    Signal.AMBIENT_PRESSURE_PA: Quantity("pressure of the air around", "Pa"),
    Signal.AMBIENT_TEMPERATURE_C: Quantity("temperature around", "°C"),
    Signal.AMBIENT_HUMIDITY_PERCENT: Quantity("humidity around", "%"),
    Signal.FAN_SPEED_RPM: Quantity("speed of the fan", "/min"),
    Signal.FAN_CURRENT_A: Quantity("current of the fan", "A"),
    Signal.SUPPLY_VOLTAGE_V: Quantity("supply of the box", "V"),
    Signal.OXIMETER_BATTERY_PERCENT: Quantity("battery of the oximeter", "%"),
}


def unit_of(signal: str) -> str:
    """Return the unit of a signal."""
    return QUANTITIES[Signal(signal)].unit


def amount(signal: str, value: float) -> str:
    """Write a value with its unit."""
    number = f"{value:.0f}" if value >= 10_000 else f"{value:g}"
    return f"{number}\N{NO-BREAK SPACE}{unit_of(signal)}"
