"""The quantities a station can measure, each with its unit in its name."""

from enum import StrEnum
from typing import NamedTuple

from linetender.core.instants import SECOND_NS


class Signal(StrEnum):
    """A quantity with a fixed unit. Two sources for one signal are a mistake in the file."""

    DUCT_PRESSURE_PA = "duct_pressure_pa"
    HOOD_PRESSURE_PA = "hood_pressure_pa"
    FILTER_PRESSURE_PA = "filter_pressure_pa"
    AIRFLOW_L_MIN = "airflow_l_min"
    AIR_PERCENT_OF_BASELINE = "air_percent_of_baseline"
    ELEMENT_TEMPERATURE_C = "element_temperature_c"
    SPO2_PERCENT = "spo2_percent"
    PULSE_RATE_BPM = "pulse_rate_bpm"
    PULSE_AMPLITUDE_INDEX_PERCENT = "pulse_amplitude_index_percent"
    HOOD_CO2_PPM = "hood_co2_ppm"
    INTAKE_CO_PPM = "intake_co_ppm"
    AMBIENT_PRESSURE_PA = "ambient_pressure_pa"
    AMBIENT_TEMPERATURE_C = "ambient_temperature_c"
    AMBIENT_HUMIDITY_PERCENT = "ambient_humidity_percent"
    FAN_SPEED_RPM = "fan_speed_rpm"
    FAN_CURRENT_A = "fan_current_a"
    SUPPLY_VOLTAGE_V = "supply_voltage_v"
    OXIMETER_BATTERY_PERCENT = "oximeter_battery_percent"

    # As text: that of an enum's member takes several times as long, and each reading needs it.
    __hash__ = str.__hash__


DERIVED_SIGNALS = frozenset({Signal.AIRFLOW_L_MIN, Signal.AIR_PERCENT_OF_BASELINE})
"""Computed by the core from the pressure across the flow element; no device gives them."""


class SignalFacts(NamedTuple):
    """What the core needs to know of a signal.

    Attributes:
        decimals: Digits after the point that mean something. Evidence in events is
            rounded to them, so that two machines write the same bytes.
        gap_ns: Silence between two good readings longer than this restarts an
            off-delay (chosen: three times the slowest usual interval of such a sensor).
        window_ns: Width of the fixed windows whose means the windowed conditions judge.
    """

    decimals: int
    gap_ns: int
    window_ns: int


def _facts(decimals: int, gap_s: int, window_ns: int = SECOND_NS) -> SignalFacts:
    return SignalFacts(decimals, gap_s * SECOND_NS, window_ns)


_AIR_WINDOW_NS = SECOND_NS // 5

SIGNAL_FACTS: dict[Signal, SignalFacts] = {
    Signal.DUCT_PRESSURE_PA: _facts(2, 3),
    Signal.HOOD_PRESSURE_PA: _facts(2, 3),
    Signal.FILTER_PRESSURE_PA: _facts(2, 3),
    Signal.AIRFLOW_L_MIN: _facts(1, 3, _AIR_WINDOW_NS),
    Signal.AIR_PERCENT_OF_BASELINE: _facts(1, 3, _AIR_WINDOW_NS),
    Signal.ELEMENT_TEMPERATURE_C: _facts(2, 3),
    Signal.SPO2_PERCENT: _facts(1, 5),
    Signal.PULSE_RATE_BPM: _facts(1, 5),
    Signal.PULSE_AMPLITUDE_INDEX_PERCENT: _facts(1, 5),
    Signal.HOOD_CO2_PPM: _facts(0, 15),
    Signal.INTAKE_CO_PPM: _facts(1, 15),
    Signal.AMBIENT_PRESSURE_PA: _facts(0, 30),
    Signal.AMBIENT_TEMPERATURE_C: _facts(1, 30),
    Signal.AMBIENT_HUMIDITY_PERCENT: _facts(0, 30),
    Signal.FAN_SPEED_RPM: _facts(0, 5),
    Signal.FAN_CURRENT_A: _facts(2, 5),
    Signal.SUPPLY_VOLTAGE_V: _facts(2, 30),
    Signal.OXIMETER_BATTERY_PERCENT: _facts(0, 300),
}


def rounded(signal: Signal, value: float | None) -> float | None:
    """Round a value to the digits that mean something for its signal."""
    return None if value is None else round(value, SIGNAL_FACTS[signal].decimals)
