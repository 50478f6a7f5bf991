"""What can go wrong with a practice world, by name: knobs to turn, and wires to break."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from linetender.simulation.knobs import START, Knob
from linetender_drivers.simulated.i2c_bus import FaultKind


@dataclass(frozen=True)
class NamedFault:
    """One fault.

    Attributes:
        says: What it is, for people.
        knobs: Where it turns knobs to.
        bus: What it does to the whole I2C bus, or None.
    """

    says: str
    knobs: Mapping[Knob, float] = field(default_factory=lambda: MappingProxyType({}))
    bus: FaultKind | None = None

    def mended(self, knob: Knob) -> float:
        """Return where a knob stands without the fault: the fan runs, the rest as at first."""
        return 1.0 if knob is Knob.FAN else START[knob]


def _turns(says: str, **knobs: float) -> NamedFault:
    return NamedFault(says, MappingProxyType({Knob(name): to for name, to in knobs.items()}))


FAULTS: Mapping[str, NamedFault] = MappingProxyType(
    {
        # The line
        "fan_stop": _turns("the fan stops, its mains still there", fan=0.0),
        "fan_slow": _turns("the fan runs at 55 % of its speed", fan=0.55),
        "mains_lost": _turns("the fan's mains fail", fan=0.0, fan_mains=0.0),
        "duct_pinched": _turns("the duct is pinched about half shut", crush=0.65),
        "duct_crushed": _turns("the duct is crushed nearly shut", crush=0.95),
        "duct_off": _turns("the duct is off before the hose", duct_off_at_hood=1.0),
        "duct_off_at_fan": _turns("the duct is off behind the fan", duct_off_at_fan=1.0),
        "hose_kinked": _turns("somebody stands on the hose", kink=0.75),
        "hose_off": _turns("the hose is off the hood's collar", hose_off=1.0),
        "leak": _turns("the line leaks at the hood's end", leak=0.8),
        "filter_soaked": _turns("the filter is soaked", filter=5.0),
        "exhaust": _turns("an engine runs beside the intake", exhaust_co_ppm=200.0),
        "oxygen_poor": _turns("the intake draws air that lacks oxygen", intake_o2_percent=11.0),
        # The sensors
        "ports_joined": _turns("a short tube joins the pressure sensor's ports", tap_open=0.0),
        "tap_off": _turns("the tap's tube is off the pressure sensor", tap_open=0.0),
        "zero_drift": _turns("the pressure sensor's zero is 10 Pa off", zero_pa=10.0),
        "sensor_frozen": _turns("the pressure sensor repeats itself", sensor_frozen=1.0),
        "sensor_unplugged": _turns("the pressure sensor's plug is off", sensor_unplugged=1.0),
        "bus_stuck": NamedFault("a line of the I2C bus is held low", bus=FaultKind.STUCK),
        "bus_overdue": NamedFault("calls to the I2C bus do not return", bus=FaultKind.OVERDUE),
        "flipped_bits": NamedFault("a bit of each answer is wrong", bus=FaultKind.FLIPPED_BIT),
        # The wearer and the oximeter
        "oximeter_off": _turns("the oximeter is off the finger", finger_out=1.0),
        "oximeter_away": _turns("the oximeter is out of radio range", distance_m=100.0),
        "oximeter_battery_low": _turns("its battery is at 8 %", oximeter_battery_percent=8.0),
        "cold_hand": _turns("the finger is too cold to be read", cold=1.0),
        "shaking_hand": _turns("the hand with the oximeter shakes", motion=0.9),
        "hypoventilation": _turns("the wearer breathes far too little", ventilation=0.35),
        # The box
        "wire_cut": _turns("the answer button's wires are cut", wire_cut=1.0),
        "supply_low": _turns("the box's supply is at 4.6 V", supply_v=4.6),
        "co_alarm": _turns("the household carbon monoxide alarm sounds", co_alarm=1.0),
    }
)
"""Their figures are those of the scenarios (invented)."""
