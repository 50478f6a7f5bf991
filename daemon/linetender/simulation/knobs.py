"""What a scenario can change in its world: one knob each, turned at once or slowly."""

from enum import StrEnum

NS_PER_S = 1_000_000_000


class Knob(StrEnum):
    """Something about the world that a script turns; the value's meaning stands beside it."""

    FAN = "fan"
    """Speed that the fan's supply carries, over full speed (0 to 1); 0 is no power."""
    CRUSH = "crush"
    """Closed part of the duct's area (0 to 1)."""
    KINK = "kink"
    """Part by which the hose behind the hood-end tap conducts less (0 to 1): kinked, stepped on."""
    LEAK = "leak"
    """Leak at the hood end over what hose and hood conduct (0 and up)."""
    FILTER = "filter"
    """Resistance of the filter over that when new (1 and up): loaded, soaked, frosted."""
    DUCT_OFF_AT_FAN = "duct_off_at_fan"
    DUCT_OFF_AT_HOOD = "duct_off_at_hood"
    """1: the duct has come off at this end."""
    HOSE_OFF = "hose_off"
    """1: the hose has come off the hood's collar."""
    WIND = "wind"
    """Mean wind that sucks at an intake in its lee (m/s, 0 and up), with its turbulence."""
    GUST = "gust"
    """One gust upon it (m/s, 0 and up)."""
    WARMER = "warmer"
    """By how much the air in the rising line is warmer than outdoors (K): stack effect."""
    EXHAUST_CO_PPM = "exhaust_co_ppm"
    """Carbon monoxide at the intake (ppm); carbon dioxide comes with it."""
    INTAKE_O2_PERCENT = "intake_o2_percent"
    """Oxygen at the intake (%, 0 to 21)."""
    HOOD = "hood"
    """1: the wearer has the hood on."""
    WORK = "work"
    """Oxygen uptake of the wearer (L/min): 0.3 at rest, 1.0 at light work."""
    VENTILATION = "ventilation"
    """Breathing over what the work asks for (0 to 2); 0.3 is far too little."""
    MOTION = "motion"
    """How much the hand with the probe shakes (0 to 1)."""
    COLD = "cold"
    """How cold the finger is (0 to 1): from 0.5 the oximeter doubts, from 0.9 it sees no pulse."""
    FINGER_OUT = "finger_out"
    """1: the probe is off the finger."""
    DISTANCE_M = "distance_m"
    """From oximeter to station, walls reckoned in (m)."""
    OXIMETER_BATTERY_PERCENT = "oximeter_battery_percent"
    TAP_OPEN = "tap_open"
    """Part of the pressure that reaches the sensor (0 to 1); 0: tube off, or full of water."""
    ZERO_PA = "zero_pa"
    """Zero drift of the pressure sensor (Pa)."""
    SENSOR_FROZEN = "sensor_frozen"
    SENSOR_UNPLUGGED = "sensor_unplugged"
    """1: the pressure sensor repeats its last answer, or does not answer."""
    GAS_SENSORS_UNPLUGGED = "gas_sensors_unplugged"
    """1: the gas sensors do not answer."""
    FAN_MAINS = "fan_mains"
    """1: the relay that senses the fan's mains is closed."""
    CO_ALARM = "co_alarm"
    """1: the relay of a household alarm for carbon monoxide is closed."""
    WIRE_CUT = "wire_cut"
    """1: the wires of the answer button are cut."""
    BROKER = "broker"
    """1: the broker is connected."""
    SUPPLY_V = "supply_v"
    """Supply voltage of the box (V)."""


START: dict[Knob, float] = {knob: 0.0 for knob in Knob} | {
    Knob.FILTER: 1.0,
    Knob.INTAKE_O2_PERCENT: 20.9,
    Knob.WORK: 0.576,
    Knob.VENTILATION: 1.0,
    Knob.DISTANCE_M: 2.0,
    Knob.OXIMETER_BATTERY_PERCENT: 87.0,
    Knob.TAP_OPEN: 1.0,
    Knob.FAN_MAINS: 1.0,
    Knob.BROKER: 1.0,
    Knob.SUPPLY_V: 5.1,
}
"""Where each knob stands at the beginning; work is 2 met (Persily and de Jonge 2017, table 4)."""

LARGEST: dict[Knob, float] = {
    Knob.LEAK: 100.0,
    Knob.FILTER: 1000.0,
    Knob.WIND: 40.0,
    Knob.GUST: 40.0,
    Knob.WARMER: 60.0,
    Knob.EXHAUST_CO_PPM: 2000.0,
    Knob.INTAKE_O2_PERCENT: 21.0,
    Knob.WORK: 3.0,
    Knob.VENTILATION: 2.0,
    Knob.DISTANCE_M: 1000.0,
    Knob.OXIMETER_BATTERY_PERCENT: 100.0,
    Knob.ZERO_PA: 500.0,
    Knob.SUPPLY_V: 16.0,
}
"""Greatest value of each knob; 1 where none is named."""

SMALLEST: dict[Knob, float] = {
    Knob.FILTER: 1.0,
    Knob.WARMER: -60.0,
    Knob.ZERO_PA: -500.0,
    Knob.WORK: 0.2,
}
"""Least value of each knob; 0 where none is named."""


def fault_of_turn(knob: Knob, to: float, over_s: float) -> str | None:
    """Say why a knob cannot be turned so, or None."""
    low, high = SMALLEST.get(knob, 0.0), LARGEST.get(knob, 1.0)
    if not low <= to <= high:
        return f"{knob.value} of {to} is outside {low:g} to {high:g}"
    if not 0.0 <= over_s <= 86_400.0:
        return f"turning {knob.value} over {over_s} s is outside 0 to 86400 s"
    return None


class Ramp:
    """One knob over time: a value, or a straight way from one to another."""

    def __init__(self, value: float) -> None:
        self._from = self._to = value
        self._from_ns = self._to_ns = 0

    def turn(self, now_ns: int, to: float, over_ns: int) -> None:
        """Go to a value, from now on, within a time (ns; 0 is at once)."""
        self._from, self._from_ns = self.value(now_ns), now_ns
        self._to, self._to_ns = to, now_ns + over_ns

    def value(self, now_ns: int) -> float:
        """Return the value at an instant (ns)."""
        if now_ns >= self._to_ns:
            return self._to
        way = (now_ns - self._from_ns) / (self._to_ns - self._from_ns)
        return self._from + (self._to - self._from) * way
