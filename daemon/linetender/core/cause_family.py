"""What an alarm is about, as far as its cause goes: the family of causes it can have."""

from enum import Enum

from linetender.core import plan as plans
from linetender.core.signals import Signal

AIR_SIGNALS = frozenset({Signal.AIR_PERCENT_OF_BASELINE, Signal.AIRFLOW_L_MIN})
PRESSURES = frozenset({Signal.DUCT_PRESSURE_PA, Signal.HOOD_PRESSURE_PA})
OXIMETRY = frozenset({Signal.SPO2_PERCENT, Signal.PULSE_RATE_BPM})


class Family(Enum):
    """The kinds of alarms that a cause is looked for."""

    AIR = "air"
    """Too little air, or suddenly more."""
    AIR_TREND = "air_trend"
    """Air that still flows well, slowly on its way to too little."""
    AIR_SENSOR = "air_sensor"
    """The air is not seen."""
    BLIND = "blind"
    """Neither air nor oxygen is seen."""
    OXYGEN = "oxygen"
    """Oxygen in the blood falls, or its reading was lost after a fall."""
    OXIMETER = "oximeter"
    """Oxygen in the blood is not seen."""
    HOOD_CO2 = "hood_co2"


def family_of(condition: plans.Condition) -> Family | None:
    """Return what a rule's alarm is about; None where no cause is looked for."""
    match condition:
        case plans.AnyOf() | plans.AllOf():
            families = (family_of(part) for part in condition.conditions)
            return next((family for family in families if family is not None), None)
        case plans.OnContact(contact="fan_mains"):
            return Family.AIR
        case plans.Stale():
            return _of_silence(condition)
        case plans.Stuck(signal=signal):
            return Family.AIR_SENSOR if signal in PRESSURES else None
    judged: Signal | None = getattr(condition, "signal", None)
    if judged in AIR_SIGNALS or judged in PRESSURES:
        is_trend = isinstance(condition, plans.Heading | plans.Drift)
        return Family.AIR_TREND if is_trend else Family.AIR
    if judged is Signal.SPO2_PERCENT:
        return Family.OXYGEN
    return Family.HOOD_CO2 if judged is Signal.HOOD_CO2_PPM else None


def _of_silence(stale: plans.Stale) -> Family | None:
    sees_air = any(signal in PRESSURES | AIR_SIGNALS for signal in stale.signals)
    sees_oxygen = any(signal in OXIMETRY for signal in stale.signals)
    if sees_air:
        return Family.BLIND if sees_oxygen else Family.AIR_SENSOR
    if sees_oxygen:
        return Family.OXYGEN if stale.followed else Family.OXIMETER
    return None
